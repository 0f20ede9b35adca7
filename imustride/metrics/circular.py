"""Means of directions: phases of a stride, where 179 and -179 degrees are neighbours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


def wrapped_deg(angle_deg: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return angles between -180 (excluded) and 180 degrees."""
    return 180.0 - np.mod(180.0 - angle_deg, 360.0)


def mean_direction_deg(angle_deg: NDArray[np.float64]) -> tuple[float, float]:
    """Return the mean direction [deg] and the mean resultant length (1: all alike, 0: all around); NaN of nothing.

    References
    ----------
    Fisher N. I. (1993) Statistical Analysis of Circular Data, chapter 2 (from memory).
    """
    known = angle_deg[np.isfinite(angle_deg)]
    if not len(known):
        return float("nan"), float("nan")
    mean = np.exp(1j * np.radians(known)).mean()
    return float(np.degrees(np.angle(mean))), float(abs(mean))
