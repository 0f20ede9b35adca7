"""Distances along a blade's path between two instants, and how well they are known."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView

ALONG, ACROSS = 0, 1
# How well the instants are known, where a blade that moves on turns time into place (simulated, DEVELOPERS).
BLADE_ON_SD_S, BLADE_OFF_SD_S = 0.010, 0.014


def travelled_m(
    view: PushView, from_s: NDArray[np.float64], to_s: NDArray[np.float64], axis: int
) -> NDArray[np.float64]:
    """Way of the blade along (0) or across (1) the lane between two instants of each push [m], shape (k,)."""
    if view.path is None:
        return np.full(len(from_s), np.nan)
    place = view.path.position_m
    return (view.path.at(place, to_s) - view.path.at(place, from_s))[:, axis]


def travelled_sd_m(
    view: PushView, from_s: NDArray[np.float64], to_s: NDArray[np.float64], axis: int
) -> NDArray[np.float64]:
    """Standard deviation of `travelled_m` [m], shape (k,)."""
    if view.path is None:
        return np.full(len(from_s), np.nan)
    root = view.path.root
    change = (view.path.at(root, to_s) - view.path.at(root, from_s))[:, axis]
    return np.asarray(np.linalg.norm(change, axis=1))


def speed_at_m_s(view: PushView, at_s: NDArray[np.float64], axis: int) -> NDArray[np.float64]:
    """Speed of the blade along (0) or across (1) the lane at an instant of each push [m/s], shape (k,)."""
    if view.path is None:
        return np.full(len(at_s), np.nan)
    return np.asarray(view.path.at(view.path.velocity_m_s, at_s)[:, axis])
