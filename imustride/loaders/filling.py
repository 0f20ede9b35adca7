"""Even samples from samples at known instants, and which of them were measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

# A sample this close to its place on the grid (part of a period) is on it: no interpolation.
ON_GRID = 0.02
# Grid points interpolated at a time: what stays in the processor's cache.
BLOCK = 1 << 16
# Samples nearer to each other than this (periods) tell little of the slope between them.
CLOSE = 0.5


def fill(
    place: NDArray[np.float64],
    number: NDArray[np.float64],
    values: NDArray[np.float64],
    count: int,
    bridge: float,
) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.bool_]]:
    """Put samples on an even grid.

    Parameters
    ----------
    place : ndarray, shape (n,)
        Instants of the samples in periods from the start of the grid, strictly increasing.
    number : ndarray, shape (n,)
        Sample numbers: where they skip, samples were lost.
    values : ndarray, shape (n, 3)
        NaN where missing.
    count : int
        Points of the grid.
    bridge : float
        Longest step between samples, in periods, that interpolation may bridge.

    Returns
    -------
    even : ndarray, shape (count, 3)
        On the grid without NaN: samples that lie on it come back untouched, between others a cubic
        runs, over longer holes and beyond the ends a straight line.
    lost : ndarray of bool, shape (count,)
        Points inside any hole.
    masked : ndarray of bool, shape (count,)
        Points inside a hole longer than `bridge`, or beyond the first or last sample.

    Notes
    -----
    The cubic is Hermite's. Its slope at a sample is that of the parabola through the sample and its
    neighbours or, where jitter brings two of them closer than `CLOSE`, of the chord over both: so
    its weights stay small, as those of a polynomial through four samples do not.
    """
    on_grid = place is number and bool(np.abs(place - np.rint(place)).max() <= ON_GRID)
    if not np.isfinite(values.sum()):
        present = np.isfinite(values).all(axis=1)
        place, number, values = place[present], number[present], values[present]
    if not len(place):
        return np.zeros((count, 3)), np.ones(count, dtype=bool), np.ones(count, dtype=bool)
    if on_grid and len(place) == count:
        return values, np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
    lost, masked = _holes(place, number, count, bridge)
    even = np.empty((count, 3), order="F")
    points = np.arange(count)
    if on_grid:
        even[np.rint(place).astype(np.intp)] = values
        points = np.flatnonzero(lost)
    _curve(even, points[~masked[points]], place, values)
    straight = points[masked[points]]
    for axis in range(3):
        even[straight, axis] = np.interp(straight, place, values[:, axis])
    return even, lost, masked


def _holes(
    place: NDArray[np.float64], number: NDArray[np.float64], count: int, bridge: float
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Grid points between samples whose numbers skip, and those in long holes; both with the ends."""
    before = np.flatnonzero(np.diff(number) > 1.5)
    first = np.floor(place[before] + ON_GRID).astype(np.intp) + 1
    behind = np.maximum(np.ceil(place[before + 1] - ON_GRID).astype(np.intp), first)
    is_long = place[before + 1] - place[before] > bridge
    flags = []
    for chosen in (np.ones_like(is_long), is_long):
        edges = np.zeros(count + 1, dtype=np.int32)
        np.add.at(edges, first[chosen], 1)
        np.add.at(edges, behind[chosen], -1)
        inside = np.cumsum(edges[:-1]) > 0
        inside[: max(0, int(np.rint(place[0])))] = True
        inside[int(np.rint(place[-1])) + 1 :] = True
        flags.append(inside)
    return flags[0], flags[1]


def _curve(
    even: NDArray[np.float64],
    points: NDArray[np.intp],
    place: NDArray[np.float64],
    values: NDArray[np.float64],
) -> None:
    """Write the cubic at grid points into `even`."""
    if len(place) < 3:
        for axis in range(3):
            even[points, axis] = np.interp(points, place, values[:, axis])
        return
    for start in range(0, len(points), BLOCK):
        block = points[start : start + BLOCK]
        even[block] = _hermite(block, place, values)


def _hermite(
    points: NDArray[np.intp], place: NDArray[np.float64], values: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Cubic between the two samples around each point; beyond the ends the last value."""
    end = len(place) - 1
    left = np.clip(np.searchsorted(place, points, side="right") - 1, 0, end - 1)
    right = left + 1
    before, behind = np.maximum(left - 1, 0), np.minimum(right + 1, end)
    width = place[right] - place[left]
    low, high = values[left], values[right]
    secant = (high - low) / width[:, None]
    slope_left = _slope(low - values[before], place[left] - place[before], secant, width)
    slope_right = _slope(values[behind] - high, place[behind] - place[right], secant, width)
    width = width[:, None]
    s = np.clip((points - place[left])[:, None] / width, 0.0, 1.0)
    rest = 1.0 - s
    return rest * rest * ((1.0 + 2.0 * s) * low + s * width * slope_left) + s * s * (
        (3.0 - 2.0 * s) * high - rest * width * slope_right
    )


def _slope(
    rise: NDArray[np.float64],
    run: NDArray[np.float64],
    secant: NDArray[np.float64],
    width: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Slope at the sample between a neighbour's step (`rise` over `run`) and the step to be filled."""
    share = np.where(np.minimum(run, width) >= CLOSE, width, run) / (run + width)
    neighbour = rise / np.maximum(run, 1e-9)[:, None]
    return secant + share[:, None] * (neighbour - secant)
