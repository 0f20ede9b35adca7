"""Smooth moves from one value to another, the material all motion is made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

GRID_HZ = 4000.0


@dataclass(frozen=True, slots=True)
class Shape:
    """Time course of a move.

    The rate is ``u^2 (1 - u)^2 (30 + 3 skew (1 - 2u))`` blended with the flatter-ended septic
    course by `sharpness`; twice continuously differentiable, monotone for ``|skew| <= 10``.
    Positive skew: fast early.
    """

    skew: float = 0.0
    sharpness: float = 0.0

    def course(self, u: Floats) -> Floats:
        """Return the course, 0 at ``u <= 0`` and 1 at ``u >= 1``."""
        u = np.clip(u, 0.0, 1.0)
        quintic = u**3 * (10 - 15 * u + 6 * u**2) + self.skew * (u * (1 - u)) ** 3
        septic = u**4 * (35 - 84 * u + 70 * u**2 - 20 * u**3)
        return np.asarray((1 - self.sharpness) * quintic + self.sharpness * septic)


PLAIN = Shape()


def bump(u: Floats, early: float = 3.0, late: float = 3.0) -> Floats:
    """Return a hump, 0 at both ends with two zero derivatives there, 1 at its top."""
    u = np.clip(u, 0.0, 1.0)
    top = early / (early + late)
    scale = top**early * (1 - top) ** late
    return np.asarray(u**early * (1 - u) ** late / scale)


class Course:
    """A quantity over the run, built by adding moves; evaluated once on the grid."""

    def __init__(self, samples: int, start: float = 0.0) -> None:
        self._steps = np.zeros(samples)
        self.start = start
        self.end = start  # value after all moves so far

    def move(self, from_s: float, to_s: float, amount: float, shape: Shape = PLAIN) -> None:
        """Add `amount` between two times [s]."""
        first = max(int(np.floor(from_s * GRID_HZ)), 0)
        last = min(int(np.ceil(to_s * GRID_HZ)) + 1, len(self._steps) - 1)
        grid = np.arange(first, last + 1) / GRID_HZ
        course = shape.course((grid - from_s) / max(to_s - from_s, 1e-9))
        self._steps[first + 1 : last + 1] += amount * np.diff(course)
        self.end += amount

    def move_to(self, from_s: float, to_s: float, value: float, shape: Shape = PLAIN) -> None:
        """Move so that the value is `value` after all moves so far."""
        self.move(from_s, to_s, value - self.end, shape)

    def drop(self, hit_s: float, duration_s: float, amount: float, stop_s: float) -> None:
        """Add `amount` at a growing rate that ends within `stop_s` after `hit_s`: a fall and its end."""
        first, last = int((hit_s - duration_s) * GRID_HZ), int(np.ceil((hit_s + stop_s) * GRID_HZ))
        grid = np.arange(first, last + 1) / GRID_HZ
        rate = PLAIN.course((grid - hit_s + duration_s) / duration_s * 0.7)
        rate *= 1 - PLAIN.course((grid - hit_s) / stop_s)
        self._steps[first : last + 1] += amount * rate / rate.sum()
        self.end += amount

    def values(self) -> Floats:
        """Return the quantity on the grid, shape (n,)."""
        return self.start + np.cumsum(self._steps)


def wander(rng: np.random.Generator, samples: int, knots_hz: float) -> Floats:
    """Return smooth random movement of unit standard deviation on the grid, from knots `knots_hz` apart."""
    from scipy.interpolate import CubicSpline

    count = int(samples / GRID_HZ * knots_hz) + 4
    spline = CubicSpline(np.arange(count) / knots_hz, rng.normal(size=count))
    return np.asarray(spline(np.arange(samples) / GRID_HZ))


def slope(values: Floats) -> Floats:
    """Return the time derivative on the grid (central differences)."""
    return np.gradient(values, 1 / GRID_HZ, axis=0)


def sample(time_s: float) -> int:
    """Return the grid sample nearest to a time."""
    return round(time_s * GRID_HZ)
