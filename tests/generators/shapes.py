"""Compact smooth shapes that every course of the skate is summed from."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

GRID_HZ = 4000.0
STEP_KINDS = ("septic", "sine", "bumpless")


def step(u: Array, kind: str = "septic", skew: float = 0.0) -> Array:
    """Rise from 0 to 1 over u = 0..1, at least twice continuously differentiable.

    Parameters
    ----------
    u : ndarray, shape (n,)
        Time in units of the rise.
    kind : str
        ``septic`` polynomial, ``sine`` (one period of acceleration), ``bumpless`` (infinitely smooth).
    skew : float
        -0.9..0.9; positive: the rise comes earlier.
    """
    x = np.clip(u, 0.0, 1.0)
    if skew:
        x = x + skew * x * (1.0 - x)
    if kind == "septic":
        rise: Array = x**4 * (35.0 + x * (-84.0 + x * (70.0 - 20.0 * x)))
        return rise
    if kind == "sine":
        return x - np.sin(2.0 * np.pi * x) / (2.0 * np.pi)
    inner = np.clip(x, 1e-3, 1.0 - 1e-3)
    power = np.clip(1.0 / inner - 1.0 / (1.0 - inner), -700.0, 700.0)
    return 1.0 / (1.0 + np.exp(power))


def bump(u: Array, power: float = 3.0, skew: float = 0.0) -> Array:
    """Pulse of height 1 over u = 0..1 that starts and ends with no velocity and no acceleration."""
    x = np.clip(u, 0.0, 1.0)
    if skew:
        x = x + skew * x * (1.0 - x)
    pulse: Array = (4.0 * x * (1.0 - x)) ** power
    return pulse


def impact_travel(u: Array, kind: str) -> Array:
    """Distance gone after u lengths of an impact, in units of landing speed times its length.

    ``half_sine`` stops with a half sine of force, ``hertz`` with one that grows slowly at both ends;
    ``double`` is a bounce: it stops, goes back a little and stops again.
    """
    x = np.clip(u, 0.0, 1.0)
    if kind == "half_sine":
        gone: Array = 0.5 * x + np.sin(np.pi * x) / (2.0 * np.pi)
        return gone
    if kind == "hertz":
        return x - 0.5 * x**2 + (1.0 - np.cos(2.0 * np.pi * x)) / (4.0 * np.pi**2)
    first, back, last = x / 0.45, (x - 0.45) / 0.2, (x - 0.65) / 0.35
    stopped = 1.35 * 0.45 * _risen(first) - 0.55 * 0.2 * _risen(back) + 0.2 * 0.35 * _risen(last)
    return x - stopped


def _risen(x: Array) -> Array:
    """Integral of the septic step from 0 to x, for any x."""
    y = np.clip(x, 0.0, 1.0)
    whole: Array = y**5 * (7.0 + y * (-14.0 + y * (10.0 - 2.5 * y))) + np.maximum(x - 1.0, 0.0)
    return whole


def derivative(x: Array) -> Array:
    """Time derivative on the fine grid, fourth order, along the first axis."""
    d = np.empty_like(x)
    d[2:-2] = (8.0 * (x[3:-1] - x[1:-3]) - (x[4:] - x[:-4])) * (GRID_HZ / 12.0)
    d[:2] = (x[1:3] - x[0:2]) * GRID_HZ
    d[-2:] = (x[-2:] - x[-3:-1]) * GRID_HZ
    return d


def integral(x: Array) -> Array:
    """Integrate from the first sample on the fine grid, along the first axis, third order."""
    inner = (13.0 * (x[1:-2] + x[2:-1]) - (x[:-3] + x[3:])) / 24.0
    parts = np.concatenate([x[:1] * 0.0, 0.5 * (x[0:1] + x[1:2]), inner, 0.5 * (x[-2:-1] + x[-1:])])
    total: Array = np.cumsum(parts, axis=0) / GRID_HZ
    return total


def resample(x: Array, time_s: Array) -> Array:
    """Values between grid points by four-point Lagrange interpolation.

    Parameters
    ----------
    x : ndarray, shape (n, m)
        Values on the fine grid that starts at time 0.
    time_s : ndarray, shape (k,)
        Wanted times [s], inside the grid.
    """
    place = time_s * GRID_HZ
    i = np.clip(place.astype(np.int64), 1, len(x) - 3)
    f = (place - i)[:, None]
    left, right = f + 1.0, f - 2.0
    value: Array = (
        -x[i - 1] * f * (f - 1.0) * right / 6.0
        + x[i] * left * (f - 1.0) * right / 2.0
        - x[i + 1] * left * f * right / 2.0
        + x[i + 2] * left * f * (f - 1.0) / 6.0
    )
    return value


class Course:
    """One quantity over the whole run, on the fine grid, built up by adding shapes.

    Parameters
    ----------
    samples : int
    level : float
        Value before anything is added.
    """

    def __init__(self, samples: int, level: float = 0.0) -> None:
        self.value: Array = np.full(samples, level)

    def _units(self, start_s: float, end_s: float) -> tuple[slice, Array]:
        i = max(int(np.ceil(start_s * GRID_HZ)), 0)
        j = min(int(np.floor(end_s * GRID_HZ)) + 1, len(self.value))
        u = (np.arange(i, max(i, j)) / GRID_HZ - start_s) / (end_s - start_s)
        return slice(i, max(i, j)), u

    def add_step(
        self, start_s: float, end_s: float, change: float, kind: str = "septic", skew: float = 0.0
    ) -> None:
        """Change the level by `change` between two times [s]."""
        span, u = self._units(start_s, end_s)
        self.value[span] += change * step(u, kind, skew)
        self.value[span.stop :] += change

    def add_bump(
        self, start_s: float, end_s: float, height: float, power: float = 3.0, skew: float = 0.0
    ) -> None:
        """Add a pulse of the given height between two times [s]."""
        span, u = self._units(start_s, end_s)
        self.value[span] += height * bump(u, power, skew)

    def add_departure(self, at_s: float, speed: float, rise_s: float, back_s: float) -> None:
        """Take off at a time with `speed` (per second) reached after `rise_s`, all given back at `back_s`."""
        span, u = self._units(at_s, back_s)
        tau = u * (back_s - at_s)
        gone = 1.0 - step((tau - 0.5 * rise_s) / (back_s - at_s - 0.5 * rise_s))
        self.value[span] += speed * rise_s * _risen(tau / rise_s) * gone

    def add_arrival(self, at_s: float, speed: float, run_in_s: float, impact_s: float, kind: str) -> None:
        """Come in at `speed` (per second, downwards) and be stopped by an impact that starts at `at_s`.

        The rest left by the impact (the compression) is given back over eight times its length.
        """
        span, u = self._units(at_s - run_in_s, at_s + 9.0 * impact_s)
        tau = u * (run_in_s + 9.0 * impact_s) - run_in_s
        before = -tau * step((tau + run_in_s) / (0.7 * run_in_s))
        deep = -impact_s * impact_travel(tau / impact_s, kind)
        deep *= 1.0 - step((tau / impact_s - 1.0) / 8.0)
        self.value[span] += speed * np.where(tau < 0.0, before, deep)
