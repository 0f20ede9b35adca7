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


def fill(
    place: NDArray[np.float64], values: NDArray[np.float64], count: int, bridge: float
) -> tuple[NDArray[np.float64], NDArray[np.bool_], NDArray[np.bool_]]:
    """Put samples on an even grid.

    Parameters
    ----------
    place : ndarray, shape (n,)
        Instants of the samples in periods from the start of the grid, strictly increasing.
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
    The cubic is Hermite's with the slope of the chord over the neighbours: its weights stay small
    where jitter brings two samples close together, as those of Lagrange's do not.
    """
    present = np.isfinite(values).all(axis=1)
    if not present.all():
        place, values = place[present], values[present]
    if not len(place):
        return np.zeros((count, 3)), np.ones(count, dtype=bool), np.ones(count, dtype=bool)
    nearest = np.rint(place).astype(np.intp)
    on_grid = bool(np.abs(place - nearest).max() <= ON_GRID)
    if on_grid and len(place) == count:
        return values, np.zeros(count, dtype=bool), np.zeros(count, dtype=bool)
    lost, masked = _holes(place, count, bridge)
    if on_grid:
        even = np.empty((count, 3))
        even[nearest] = values
        points = np.flatnonzero(lost)
    else:
        even = np.empty((count, 3))
        points = np.arange(count)
    if len(place) > 2:
        slopes = _chord_slopes(place, values)
        for start in range(0, len(points), BLOCK):
            block = points[start : start + BLOCK]
            even[block] = _hermite(block, place, values, slopes)
    straight = np.flatnonzero(masked) if len(place) > 2 else points
    for axis in range(3):
        even[straight, axis] = np.interp(straight, place, values[:, axis])
    return even, lost, masked


def _holes(
    place: NDArray[np.float64], count: int, bridge: float
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Grid points strictly between samples more than 1.5 periods apart, or beyond the ends."""
    lost = np.zeros(count, dtype=bool)
    masked = np.zeros(count, dtype=bool)
    steps = np.diff(place)
    before = np.flatnonzero(steps > 1.5)
    first = np.floor(place[before] + ON_GRID).astype(np.intp) + 1
    last = np.ceil(place[before + 1] - ON_GRID).astype(np.intp)
    long = steps[before] > bridge
    for flags, chosen in ((lost, slice(None)), (masked, long)):
        edges = np.zeros(count + 1, dtype=np.int32)
        np.add.at(edges, first[chosen], 1)
        np.add.at(edges, np.maximum(last, first)[chosen], -1)
        flags[:] = np.cumsum(edges[:-1]) > 0
        flags[: max(0, int(np.ceil(place[0] - 0.5)))] = True
        flags[int(np.floor(place[-1] + 0.5)) + 1 :] = True
    return lost, masked


def _chord_slopes(place: NDArray[np.float64], values: NDArray[np.float64]) -> NDArray[np.float64]:
    slopes = np.empty_like(values)
    slopes[1:-1] = (values[2:] - values[:-2]) / (place[2:] - place[:-2])[:, None]
    slopes[0] = (values[1] - values[0]) / (place[1] - place[0])
    slopes[-1] = (values[-1] - values[-2]) / (place[-1] - place[-2])
    return slopes


def _hermite(
    points: NDArray[np.intp],
    place: NDArray[np.float64],
    values: NDArray[np.float64],
    slopes: NDArray[np.float64],
) -> NDArray[np.float64]:
    left = np.clip(np.searchsorted(place, points, side="right") - 1, 0, len(place) - 2)
    width = (place[left + 1] - place[left])[:, None]
    s = np.clip((points - place[left])[:, None] / width, 0.0, 1.0)
    rest = 1.0 - s
    return rest * rest * ((1.0 + 2.0 * s) * values[left] + s * width * slopes[left]) + s * s * (
        (3.0 - 2.0 * s) * values[left + 1] - rest * width * slopes[left + 1]
    )
