"""Which directions of gravity the positions cover, and what to record instead where they do not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

FACES = ("x up", "x down", "y up", "y down", "z up", "z down")
# Gravity along each axis, in the order of FACES.
UP = np.repeat(np.eye(3), 2, axis=0) * np.tile([[1.0], [-1.0]], (3, 1))
# Positions closer than this are one direction. Common practice, no source.
APART_DEG = 15.0
# Points spread over the sphere to measure the largest hole with: it is known to about 4 degrees.
SPREAD = 2000


@dataclass(frozen=True, slots=True)
class Coverage:
    """Directions of gravity, sensor axes.

    Parameters
    ----------
    positions, directions : int
        Positions, and directions at least `APART_DEG` from each other.
    nearest_deg : tuple of float
        Angle from each of `FACES` to the nearest position [deg].
    largest_hole_deg : float
        Largest angle from any direction to the nearest position [deg]; 55 where only the six faces are there.
    """

    positions: int
    directions: int
    nearest_deg: tuple[float, ...]
    largest_hole_deg: float

    def missing(self, farthest_deg: float) -> tuple[str, ...]:
        """Return the faces from which every position is farther than an angle."""
        return tuple(
            face for face, angle in zip(FACES, self.nearest_deg, strict=True) if angle > farthest_deg
        )


def coverage(up: Floats) -> Coverage:
    """Measure which directions are covered.

    Parameters
    ----------
    up : ndarray, shape (n, 3)
        Unit vectors.
    """
    points = _spread(SPREAD)
    return Coverage(
        len(up),
        len(distinct(up)),
        tuple(float(angle) for angle in _nearest_deg(UP, up)),
        float(_nearest_deg(points, up).max()),
    )


def distinct(up: Floats) -> list[int]:
    """Return the positions that are at least `APART_DEG` from every one kept before."""
    kept: list[int] = []
    for i, direction in enumerate(up):
        if not kept or (up[kept] @ direction).max() < np.cos(np.radians(APART_DEG)):
            kept.append(i)
    return kept


def _nearest_deg(directions: Floats, up: Floats) -> Floats:
    if not len(up):
        return np.full(len(directions), 180.0)
    cosine = np.clip((directions @ up.T).max(axis=1), -1, 1)
    return np.asarray(np.degrees(np.arccos(cosine)))


def _spread(count: int) -> Floats:
    """Return points spread evenly over the unit sphere (spiral of the golden angle)."""
    place = np.arange(count) + 0.5
    z, turn = 1 - 2 * place / count, np.pi * (1 + np.sqrt(5)) * place
    radius = np.sqrt(1 - z * z)
    return np.column_stack((radius * np.cos(turn), radius * np.sin(turn), z))
