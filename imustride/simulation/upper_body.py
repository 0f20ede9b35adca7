"""Pelvis, trunk, head and arms: how they turn, and where that puts them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.simulation.limbs import Leg, leg
from imustride.simulation.rotations import apply, turn, yaw_pitch_roll
from imustride.simulation.timing import SIDES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.simulation.body_draw import Figure

    Floats = NDArray[np.float64]

OUTWARD_Y = {"left": 1.0, "right": -1.0}
# Common practice, no source: the lower back bends at a fifth of the way from hips to shoulders.
LOW_BACK_RATIO = 0.2
NECK_RATIO = 0.09  # of the height, from the shoulders to the pivot of the head


@dataclass(frozen=True, eq=False, slots=True)
class Arm:
    """Swing of one arm: angles from hanging, forward positive [rad], shape (n,).

    The plane of swing is turned by `across_rad` from straight ahead to the body's middle.
    """

    forearm_rad: Floats
    upper_rad: Floats
    across_rad: float


@dataclass(frozen=True, eq=False, slots=True)
class Posture:
    """Angles over a motion: yaw, pitch, roll (n, 3) [rad] of pelvis, trunk, head; of the neck, pitch (n,)."""

    heading_rad: Floats
    pelvis_rad: Floats
    trunk_rad: Floats
    neck_rad: Floats
    head_rad: Floats
    arms: dict[str, Arm]


@dataclass(frozen=True, eq=False, slots=True)
class Segment:
    """One segment: attitude (n, 3, 3), earth from segment, and its origin (n, 3) [m].

    Origins: shank at the ankle, thigh at the knee, pelvis in the middle of the hip joints, trunk at the lower
    back, head at its pivot, forearm (wrist) at the elbow.
    """

    rotation: Floats
    place_m: Floats


def hips_from_pelvis(figure: Figure, pelvis: Floats) -> dict[str, Floats]:
    """Return the way from the middle of the hips to each hip joint [m], shape (n, 3) each."""
    return {side: OUTWARD_Y[side] * figure.hips_m / 2 * pelvis[:, :, 1] for side in SIDES}


def assemble(
    figure: Figure, pelvis_m: Floats, posture: Posture, ankles_m: dict[str, Floats], knees: dict[str, Floats]
) -> tuple[dict[str, Segment], dict[str, Leg]]:
    """Put the whole body together.

    Parameters
    ----------
    figure : Figure
    pelvis_m : ndarray, shape (n, 3)
        Middle of the hip joints.
    posture : Posture
    ankles_m, knees : dict of str to ndarray, shape (n, 3)
        By side: the ankle joint, and where the knee points.

    Returns
    -------
    dict of str to Segment
        By place of the contract, without the skates.
    dict of str to Leg
        By side.
    """
    pelvis = yaw_pitch_roll(posture.pelvis_rad)
    hips = hips_from_pelvis(figure, pelvis)
    segments = {"pelvis": Segment(pelvis, pelvis_m), **_upper(figure, pelvis, pelvis_m, posture)}
    legs = {}
    for side in SIDES:
        bent = leg(pelvis_m + hips[side], ankles_m[side], figure.leg_m(side), knees[side])
        legs[side] = bent
        segments[f"{side}_shank"] = Segment(bent.shank, bent.ankle_m)
        segments[f"{side}_thigh"] = Segment(bent.thigh, bent.knee_m)
    return segments, legs


def _upper(figure: Figure, pelvis: Floats, pelvis_m: Floats, posture: Posture) -> dict[str, Segment]:
    trunk = yaw_pitch_roll(posture.trunk_rad)
    back_m = pelvis_m + LOW_BACK_RATIO * figure.trunk_m * pelvis[:, :, 2]
    shoulders_m = back_m + (1 - LOW_BACK_RATIO) * figure.trunk_m * trunk[:, :, 2]
    neck = posture.trunk_rad.copy()
    neck[:, 1] = posture.neck_rad
    head_m = shoulders_m + NECK_RATIO * figure.height_m * yaw_pitch_roll(neck)[:, :, 2]
    segments = {"trunk": Segment(trunk, back_m), "head": Segment(yaw_pitch_roll(posture.head_rad), head_m)}
    for side in SIDES:
        arm = posture.arms[side]
        shoulder_m = shoulders_m + OUTWARD_Y[side] * figure.shoulders_m / 2 * trunk[:, :, 1]
        plane_rad = posture.heading_rad - OUTWARD_Y[side] * arm.across_rad
        upper = swung(plane_rad, arm.upper_rad, arm.across_rad * OUTWARD_Y[side])
        elbow_m = shoulder_m - figure.upper_arm_m * upper[:, :, 2]
        forearm = swung(plane_rad, arm.forearm_rad, arm.across_rad * OUTWARD_Y[side])
        segments[f"{side}_wrist"] = Segment(forearm, elbow_m)
    return segments


def swung(plane_rad: Floats, angle_rad: Floats, back_rad: float) -> Floats:
    """Attitude of a hanging segment swung forward by an angle in an upright plane, shape (n, 3, 3).

    The plane's direction over the ground is `plane_rad`; `back_rad` turns the segment about its length, so
    that it faces ahead while it hangs.
    """
    plane = yaw_pitch_roll(np.column_stack([plane_rad, -angle_rad, np.zeros_like(angle_rad)]))
    return np.asarray(plane @ turn(2, back_rad))


def sensor_place(segment: Segment, position_m: tuple[float, float, float]) -> Floats:
    """Return where a sensor on a segment is [m], shape (n, 3)."""
    return segment.place_m + apply(segment.rotation, np.asarray(position_m))
