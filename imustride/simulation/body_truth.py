"""The true value of every column of the body, read from the motion by the columns' definitions.

Standing pushes have no blade-on and no stride: what refers to one is empty; their contact begins where the
quiet stance ends.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.simulation.blade import rotate
from imustride.simulation.rotations import flexion, pitch, turn, yaw
from imustride.simulation.sensors import own_time
from imustride.simulation.timing import SIDES
from imustride.simulation.transitions import GRID_HZ, sample, slope
from imustride.simulation.upper_body import OUTWARD_Y, sensor_place

if TYPE_CHECKING:
    from collections.abc import Collection

    import pandas as pd
    from numpy.typing import NDArray

    from imustride.simulation.attitude import Attitude
    from imustride.simulation.body_draw import BodyDraw
    from imustride.simulation.drawing import Draw
    from imustride.simulation.limbs import Leg
    from imustride.simulation.motion import Motion
    from imustride.simulation.timing import Contact, Plan
    from imustride.simulation.whole_body import WholeBody

    Floats = NDArray[np.float64]

SEGMENT_EVERY = 10  # grid samples: 400 Hz
EXTENDING_AFTER_OFF_S = 0.05  # the leg may extend fastest as the blade leaves the ice
DEEP_WITHIN_DEG = 3.0  # of the largest forward tip of the shank: the deepest posture
EXTENDING_SHARE = 0.1  # of the knee's way from its largest flexion to blade-off: extension has begun
OTHER = {"left": "right", "right": "left"}


@dataclass(frozen=True, eq=False, slots=True)
class SegmentTruth:
    """Where one worn place really was.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        On the clock of the left skate's sensor, 400 Hz.
    lane_from_segment : ndarray, shape (n, 3, 3)
        Of a skate: levelled by its attitude in the quiet stance.
    position_m : ndarray, shape (n, 3)
        Of the sensor, of a skate the middle of the running edge; lane frame, from the middle of the feet in the stance.
    """

    time_s: Floats
    lane_from_segment: Floats
    position_m: Floats


@dataclass(frozen=True, eq=False, slots=True)
class OnLane:
    """All that the columns are read from, on the grid, lane frame.

    Attitudes (n, 3, 3) of segments and levelled skates, and places (n, 3) of sensors and blades, by place; vectors
    (n, 3) from ankle to hip and leg lengths by side; angles of forearms forward in their own plane [rad] (n,) by side.
    """

    plan: Plan
    rotations: dict[str, Floats]
    places_m: dict[str, Floats]
    legs_m: dict[str, Floats]
    lengths_m: dict[str, float]
    thighs: frozenset[str]  # sides with a sensor on the thigh
    arms_rad: dict[str, Floats]


def on_lane(body: BodyDraw, motion: Motion, whole: WholeBody, lane_rad: float) -> OnLane:
    """Turn the motion into the lane frame."""
    back = turn(2, -lane_rad)
    start_m = motion.middle_m[sample(motion.plan.stance_s[1])] * (1, 1, 0)
    rotations = {place: back @ segment.rotation for place, segment in whole.segments.items()}
    places = {}
    for place, device in body.devices.items():
        places[place] = (sensor_place(whole.segments[place], device.position_m) - start_m) @ back[0].T
    for side in SIDES:
        foot = motion.feet[side]
        rotations[f"{side}_skate"] = back @ _levelled(foot.attitude, motion.plan)
        places[f"{side}_skate"] = (foot.path.place_m - start_m) @ back[0].T
    return OnLane(
        motion.plan,
        rotations,
        places,
        {side: _line(whole.legs[side]) @ back[0].T for side in SIDES},
        {side: sum(body.figure.leg_m(side)) for side in SIDES},
        frozenset(side for side in SIDES if f"{side}_thigh" in body.devices),
        {side: _arm(rotations[f"{side}_wrist"], motion.plan) for side in SIDES},
    )


def _line(leg: Leg) -> Floats:
    return leg.hip_m - leg.ankle_m


def matrices(attitude: Attitude) -> Floats:
    """Return the attitude of a skate as matrices, earth from segment, shape (n, 3, 3)."""
    shape = (len(attitude.yaw), 3)
    return np.stack([rotate(attitude, np.broadcast_to(axis, shape)) for axis in np.eye(3)], axis=2)


def _levelled(attitude: Attitude, plan: Plan) -> Floats:
    """Return the attitude of a skate whose flat blade in the quiet stance counts as level."""
    span = slice(*(sample(time_s) for time_s in plan.stance_s))
    level = turn(1, attitude.pitch[span].mean()) @ turn(0, attitude.roll[span].mean())
    return matrices(attitude) @ np.swapaxes(level, 1, 2)


def _arm(forearm: Floats, plan: Plan) -> Floats:
    """Return a forearm's angle forward from hanging in its own plane of swing [rad], shape (n,)."""
    down = -forearm[:, :, 2]
    pushing = slice(sample(plan.pushes[0].off_s), sample(plan.pushes[-1].off_s) + 1)
    _, vectors = np.linalg.eigh(np.cov(down[pushing, :2].T))
    main = vectors[:, 1] * (1.0 if vectors[0, 1] > 0 else -1.0)
    return np.arctan2(down[:, :2] @ main, -down[:, 2])


def segment_truth(draw: Draw, lane: OnLane, places: Collection[str]) -> dict[str, SegmentTruth]:
    """Return attitude and place of the skates and of some places, for the whole run."""
    every = slice(None, None, SEGMENT_EVERY)
    count = len(lane.rotations["left_skate"])
    time_s = np.asarray(own_time(draw.devices["left"], np.arange(count)[every] / GRID_HZ))
    return {
        place: SegmentTruth(time_s, lane.rotations[place][every].copy(), lane.places_m[place][every].copy())
        for place in ("left_skate", "right_skate", *places)
    }


def body_columns(lane: OnLane) -> pd.DataFrame:
    """Return the body's columns, one row per true push, by blade-off."""
    import pandas as pd

    pushes = sorted(lane.plan.pushes, key=lambda push: push.off_s)
    return pd.DataFrame([_row(lane, push) for push in pushes])


def _row(lane: OnLane, push: Contact) -> dict[str, float]:
    """Return the columns of one push."""
    standing = push.kind == "standing"
    from_s = lane.plan.stance_s[1] if standing else push.on_s
    contact = slice(sample(from_s), sample(push.off_s) + 1)
    leg, extends = _leg_columns(lane, push.side, contact)
    blade, head = (lane.places_m.get(place) for place in (f"{push.side}_skate", "head"))
    outward = OUTWARD_Y[push.side]
    row = leg | {
        "head_over_foot_lateral_m": outward * (head[extends, 1] - blade[extends, 1])
        if head is not None and blade is not None
        else np.nan,
        "trunk_lean_deg": float(np.degrees(pitch(lane.rotations["trunk"][contact]).mean())),
    }
    next_on = [other.on_s for other in lane.plan.contacts[push.side] if other.on_s >= push.off_s]
    stride = slice(contact.start, sample(next_on[0]) + 1)
    row |= _stride_columns(lane, push.side, stride, contact.stop - 1)
    row["glide_before_extension_s"] = (extends - contact.start) / GRID_HZ
    if standing:
        row |= dict.fromkeys(OF_BLADE_ON | _stride_names(row), np.nan)
    return row


OF_BLADE_ON = {
    "shank_inclination_on_deg",
    "knee_flexion_on_deg",
    "foot_to_hip_lateral_m",
    "foot_to_hip_forward_m",
    "glide_before_extension_s",
}


def _stride_names(row: dict[str, float]) -> set[str]:
    return {
        name
        for name in row
        if name.endswith(("_range_m", "_range_deg", "_lag_s", "_phase_deg", "_share_ratio"))
    } | {"shoulder_pelvis_separation_deg"}


def _leg_columns(lane: OnLane, side: str, contact: slice) -> tuple[dict[str, float], int]:
    """Return the columns of shank, knee and leg in one contact, and the sample at which the leg begins to extend."""
    skate, shank, thigh = (lane.rotations[f"{side}_{part}"][contact] for part in ("skate", "shank", "thigh"))
    leg_m, outward = lane.legs_m[side][contact], OUTWARD_Y[side]
    tipped, bent = np.degrees(pitch(shank)), np.degrees(flexion(thigh, shank))
    deepest, foremost = int(bent.argmax()), int(tipped.argmax())
    late = bent >= bent[deepest] - EXTENDING_SHARE * (bent[deepest] - bent[-1])
    off = leg_m[-1] if side in lane.thighs else shank[-1, :, 2]
    after = slice(contact.start + deepest, contact.stop + round(EXTENDING_AFTER_OFF_S * GRID_HZ))
    velocity = -slope(
        np.degrees(flexion(lane.rotations[f"{side}_thigh"][after], lane.rotations[f"{side}_shank"][after]))
    )
    low = tipped >= tipped[foremost] - DEEP_WITHIN_DEG
    columns = {
        "shank_inclination_on_deg": tipped[0],
        "shank_inclination_max_deg": tipped[foremost],
        "shank_inclination_off_deg": tipped[-1],
        "shank_to_skate_angle_max_deg": np.degrees(flexion(skate, shank).max()),
        "knee_flexion_on_deg": bent[0],
        "knee_flexion_max_deg": bent[deepest],
        "knee_flexion_off_deg": bent[-1],
        "knee_extension_velocity_deg_s": velocity.max(),
        "knee_extension_ratio": np.linalg.norm(leg_m[-1]) / lane.lengths_m[side],
        "leg_angle_off_deg": np.degrees(np.arctan2(-outward * off[1], off[2])),
        "hip_ahead_of_ankle_m": leg_m[low, 0].mean(),
        "foot_to_hip_lateral_m": -outward * leg_m[0, 1],
        "foot_to_hip_forward_m": -leg_m[0, 0],
    }
    return {name: float(value) for name, value in columns.items()}, contact.start + int(
        np.flatnonzero(late)[-1]
    )


def _stride_columns(lane: OnLane, side: str, stride: slice, off: int) -> dict[str, float]:
    """Return the columns of one stride; `off` is the sample of blade-off."""
    shoulders, pelvis = (yaw(lane.rotations[place][stride]) for place in ("trunk", "pelvis"))
    row = {
        "shoulder_turn_range_deg": np.degrees(_range(shoulders)),
        "pelvis_turn_range_deg": np.degrees(_range(pelvis)),
        "shoulder_pelvis_separation_deg": np.degrees(_range(shoulders - pelvis)),
    }
    for place in ("pelvis", "head"):
        way = lane.places_m.get(place)
        row[f"{place}_lateral_range_m"] = np.nan if way is None else _range(way[stride, 1])
        row[f"{place}_vertical_range_m"] = np.nan if way is None else _range(way[stride, 2])
    half = (stride.stop - 1 - stride.start) // 2
    row["shoulder_push_lag_s"] = _turning(yaw(lane.rotations["trunk"]), off, half)
    alpha = lane.arms_rad[OTHER[side]]
    level = lane.rotations[f"{OTHER[side]}_wrist"][stride, :2, 2].var(axis=0)
    row["arm_swing_range_deg"] = np.degrees(np.ptp(alpha[stride]))
    row["arm_across_share_ratio"] = level[1] / level.sum()
    row["arm_push_lag_s"] = _turning(alpha, off, half)
    cycles = _lag(alpha, off, half) * GRID_HZ / (stride.stop - 1 - stride.start)
    row["arm_push_phase_deg"] = 360 * (cycles - np.ceil(cycles - 0.5))
    return {name: float(value) for name, value in row.items()}


def _range(values: Floats) -> float:
    """Return the range after the straight line between both ends is taken off."""
    line = np.linspace(values[0], values[-1], len(values))
    return float(np.ptp(values - line))


def _turning(values: Floats, at: int, within: int) -> float:
    """Return how long after a sample the nearest end of a swing, to either side, lies [s]."""
    return min(_lag(values, at, within), _lag(-values, at, within), key=lambda lag: (np.isnan(lag), abs(lag)))


def _lag(values: Floats, at: int, within: int) -> float:
    """Return how long after a sample the nearest local maximum lies [s], NaN where none is within some samples."""
    first = max(at - within, 1)
    here = values[first - 1 : at + within + 2]
    tops = np.flatnonzero((here[1:-1] >= here[:-2]) & (here[1:-1] > here[2:])) + first
    return float(tops[np.abs(tops - at).argmin()] - at) / GRID_HZ if len(tops) else np.nan
