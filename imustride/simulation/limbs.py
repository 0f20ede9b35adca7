"""Legs: two rigid segments between hip and ankle, the knee in a plane that the knee's direction fixes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.simulation.rotations import turn

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Leg:
    """One leg on the grid: attitudes (n, 3, 3), earth from segment, and joints (n, 3) [m]."""

    shank: Floats
    thigh: Floats
    ankle_m: Floats
    knee_m: Floats
    hip_m: Floats


def leg(hip_m: Floats, ankle_m: Floats, lengths_m: tuple[float, float], forward: Floats) -> Leg:
    """Bend a leg so that it spans hip and ankle (law of cosines).

    Parameters
    ----------
    hip_m, ankle_m : ndarray, shape (n, 3)
    lengths_m : tuple of float
        Thigh and shank; a span beyond their sum leaves the leg straight and short of the ankle.
    forward : ndarray, shape (n, 3)
        Where the knee points; only its part square to the line from ankle to hip counts.

    Notes
    -----
    The y axis of both segments is the normal of the plane of hip, knee and ankle, to the left.
    """
    thigh_m, shank_m = lengths_m
    line = hip_m - ankle_m
    span = np.linalg.norm(line, axis=1)
    z = line / span[:, None]
    y = np.cross(z, forward)
    y /= np.linalg.norm(y, axis=1, keepdims=True)
    plane = np.stack([np.cross(y, z), y, z], axis=2)
    at_ankle = np.arccos(np.clip((span**2 + shank_m**2 - thigh_m**2) / (2 * span * shank_m), -1, 1))
    at_hip = np.arccos(np.clip((span**2 + thigh_m**2 - shank_m**2) / (2 * span * thigh_m), -1, 1))
    shank, thigh = plane @ turn(1, at_ankle), plane @ turn(1, -at_hip)
    return Leg(shank, thigh, ankle_m, hip_m - thigh_m * thigh[:, :, 2], hip_m)


def span_ratio(flexion_rad: float | Floats, lengths_m: tuple[float, float]) -> Floats:
    """Return the distance from hip to ankle, as a share of the straight leg, at a knee flexion."""
    thigh_m, shank_m = lengths_m
    square = thigh_m**2 + shank_m**2 + 2 * thigh_m * shank_m * np.cos(flexion_rad)
    return np.asarray(np.sqrt(square) / (thigh_m + shank_m))
