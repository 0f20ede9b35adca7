"""True values of the body's columns, from joints and rotations on the fine grid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from tests.generators.build import OUT, SIDES
from tests.generators.shapes import GRID_HZ
from tests.generators.turns import flexion

if TYPE_CHECKING:
    from tests.generators.build import Build, Leg
    from tests.generators.plan import Plan, Stance
    from tests.generators.shapes import Array
    from tests.generators.worn import Segment

BODY_COLUMNS = (
    "shank_inclination_on_deg", "shank_inclination_max_deg", "shank_inclination_off_deg", "shank_to_skate_angle_max_deg",
    "knee_flexion_on_deg", "knee_flexion_max_deg", "knee_flexion_off_deg", "knee_extension_velocity_deg_s",
    "knee_extension_ratio", "leg_angle_off_deg", "hip_ahead_of_ankle_m", "foot_to_hip_lateral_m", "foot_to_hip_forward_m",
    "pelvis_lateral_range_m", "pelvis_vertical_range_m", "head_lateral_range_m", "head_vertical_range_m",
    "head_shift_lateral_m", "trunk_lean_deg", "shoulder_turn_range_deg", "pelvis_turn_range_deg",
    "shoulder_pelvis_separation_deg", "shoulder_push_lag_s", "arm_swing_range_deg", "arm_across_share_ratio",
    "arm_push_lag_s", "arm_push_phase_deg", "glide_before_extension_s",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Seen:
    """Everything in the lane frame: rotations lane_from_segment (n, 3, 3) and places (n, 3) by place."""

    turns: dict[str, Array]
    places_m: dict[str, Array]
    legs_m: dict[str, Array]  # ankle to hip
    yaws_rad: dict[str, Array]  # of trunk and pelvis
    build: Build
    worn: tuple[str, ...]


def see(
    lane_from_earth: Array, skates: dict[str, Segment], body: dict[str, Segment], legs: dict[str, Leg], build: Build, worn: tuple[str, ...]
) -> Seen:  # fmt: skip
    """Turn everything into the lane frame."""
    every = skates | body
    turns = {place: lane_from_earth @ s.turn for place, s in every.items()}
    return Seen(
        turns,
        {place: s.place_m @ lane_from_earth.T for place, s in every.items()},
        {side: (leg.hip_m - leg.ankle_m) @ lane_from_earth.T for side, leg in legs.items()},
        {place: yaw(turns[place]) for place in ("trunk", "pelvis")},
        build,
        worn,
    )


def index(time_s: float) -> int:
    """Nearest sample of the fine grid."""
    return round(time_s * GRID_HZ)


def pitch(turn: Array) -> Array:
    """How far segments tip forward [rad]."""
    return np.asarray(np.arcsin(np.clip(-turn[:, 2, 0], -1.0, 1.0)))


def yaw(turn: Array) -> Array:
    """Direction that segments face from the lane [rad], unwrapped."""
    return np.asarray(np.unwrap(np.arctan2(turn[:, 1, 0], turn[:, 0, 0])))


def following(plan: Plan, c: Stance) -> Stance:
    """Next contact of the same foot."""
    return next(s for s in plan.of_side(c.side) if s.order == c.order + 2)


def stride_range(x: Array) -> float:
    """Range of a course without the straight line between its ends."""
    bare = x - np.linspace(x[0], x[-1], len(x))
    return float(bare.max() - bare.min())


def nearest_peak(x: Array, at: int, within: int) -> float:
    """Time from a sample to the nearest local maximum within some samples [s]; NaN where there is none."""
    i = max(at - within, 1)
    part = x[i - 1 : at + within + 2]
    peaks = np.flatnonzero((part[1:-1] > part[:-2]) & (part[1:-1] >= part[2:])) + i
    return float(peaks[np.argmin(np.abs(peaks - at))] - at) / GRID_HZ if len(peaks) else np.nan


def nearest_end(x: Array, at: int, within: int) -> float:
    """Time from a sample to the nearest end of a swing, to either side [s]."""
    ends = np.array([nearest_peak(x, at, within), nearest_peak(-x, at, within)])
    return float(ends[np.nanargmin(np.abs(ends))]) if np.isfinite(ends).any() else np.nan


def body_truth(seen: Seen, plan: Plan, clock_rate: float) -> pd.DataFrame:
    """One row a push, in order of blade-off, with `BODY_COLUMNS`; times by the clock of the left skate."""
    arms = {side: arm_angle(seen, plan, side) for side in SIDES}
    rows = []
    for c in plan.stances[:-2]:
        standing = not np.isfinite(c.on_s)
        contact = slice(index(plan.start_s if standing else c.on_s), index(c.off_s) + 1)
        row = leg_values(seen, c, contact)
        row["trunk_lean_deg"] = float(np.degrees(pitch(seen.turns["trunk"][contact])).mean())
        if not standing:
            row |= stride_values(seen, plan, c, arms)
            extends = index(c.on_s) + round(row["glide_before_extension_s"] * GRID_HZ)
            row["head_shift_lateral_m"] = head_shift(seen, plan, c, extends)
        for name in ("shoulder_push_lag_s", "arm_push_lag_s", "glide_before_extension_s"):
            row[name] = row.get(name, np.nan) * clock_rate
        rows.append(row)
    return pd.DataFrame(rows, columns=list(BODY_COLUMNS))


def leg_values(seen: Seen, c: Stance, contact: slice) -> dict[str, float]:
    """Values of one contact that need the pushing leg."""
    out, side = OUT[c.side], c.side
    shank, thigh = seen.turns[f"{side}_shank"][contact], seen.turns[f"{side}_thigh"][contact]
    leg = seen.legs_m[side][contact]
    tips = np.degrees(pitch(shank))
    knee = np.degrees(flexion(thigh, shank))
    deepest, low = int(np.argmax(knee)), tips >= tips.max() - 3.0
    later = slice(contact.start + deepest, contact.stop + round(0.05 * GRID_HZ))
    opening = np.degrees(flexion(seen.turns[f"{side}_thigh"][later], seen.turns[f"{side}_shank"][later]))
    extends = int(np.flatnonzero(knee >= knee[deepest] - 0.1 * (knee[deepest] - knee[-1]))[-1])
    row = {
        "shank_inclination_max_deg": tips.max(),
        "shank_inclination_off_deg": tips[-1],
        "shank_to_skate_angle_max_deg": np.degrees(flexion(seen.turns[f"{side}_skate"][contact], shank)).max(),
        "knee_flexion_max_deg": knee[deepest],
        "knee_flexion_off_deg": knee[-1],
        "knee_extension_velocity_deg_s": extension_speed(opening),
        "knee_extension_ratio": np.linalg.norm(leg[-1]) / seen.build.leg_m,
        "hip_ahead_of_ankle_m": leg[low, 0].mean(),
    }  # fmt: skip
    line = leg[-1] if f"{side}_thigh" in seen.worn else shank[-1, :, 2]
    row["leg_angle_off_deg"] = np.degrees(np.arctan2(-out * line[1], line[2]))
    if np.isfinite(c.on_s):
        row["shank_inclination_on_deg"] = tips[0]
        row["knee_flexion_on_deg"] = knee[0]
        row["foot_to_hip_lateral_m"] = -out * leg[0, 1]
        row["foot_to_hip_forward_m"] = -leg[0, 0]
        row["glide_before_extension_s"] = extends / GRID_HZ
    return {name: float(value) for name, value in row.items()}


def extension_speed(knee_deg: Array) -> float:
    """Largest speed of extension [deg/s] in a course from the deepest flexion on."""
    return float(-np.diff(knee_deg).min() * GRID_HZ)


def stride_values(seen: Seen, plan: Plan, c: Stance, arms: dict[str, Array]) -> dict[str, float]:
    """Values of one stride: sway, turns, the arm of the other side."""
    stride = slice(index(c.on_s), index(following(plan, c).on_s) + 1)
    off, half = index(c.off_s), (stride.stop - 1 - stride.start) // 2
    row: dict[str, float] = {}
    for name in ("pelvis", "head"):
        place = seen.places_m[name][stride]
        row[f"{name}_lateral_range_m"] = stride_range(place[:, 1])
        row[f"{name}_vertical_range_m"] = stride_range(place[:, 2])
    shoulders, hips = seen.yaws_rad["trunk"], seen.yaws_rad["pelvis"]
    row["shoulder_turn_range_deg"] = stride_range(np.degrees(shoulders[stride]))
    row["pelvis_turn_range_deg"] = stride_range(np.degrees(hips[stride]))
    row["shoulder_pelvis_separation_deg"] = stride_range(np.degrees((shoulders - hips)[stride]))
    row["shoulder_push_lag_s"] = nearest_end(shoulders, off, half)
    other = "right" if c.side == "left" else "left"
    alpha = np.degrees(arms[other][stride])
    row["arm_swing_range_deg"] = float(alpha.max() - alpha.min())
    along, across = np.var(seen.turns[f"{other}_wrist"][stride, :2, 2], axis=0)
    row["arm_across_share_ratio"] = float(across / (along + across))
    row["arm_push_lag_s"] = nearest_end(arms[other], off, half)
    lag = nearest_peak(arms[other], off, half)
    cycle = 360.0 * lag * GRID_HZ / (stride.stop - 1 - stride.start)
    row["arm_push_phase_deg"] = -((-cycle + 180.0) % 360.0 - 180.0)
    return row


def head_shift(seen: Seen, plan: Plan, c: Stance, at: int) -> float:
    """How far the head is towards the pushing foot from its mean over the stride about a sample [m]."""
    half = round(0.5 * (following(plan, c).on_s - c.on_s) * GRID_HZ)
    y = seen.places_m["head"][:, 1]
    return float(OUT[c.side] * (y[at] - y[at - half : at + half + 1].mean()))


def arm_angle(seen: Seen, plan: Plan, side: str) -> Array:
    """Angle of one forearm from hanging, in its own main direction of swing [rad], shape (n,)."""
    down = -seen.turns[f"{side}_wrist"][:, :, 2]
    pushing = down[index(plan.stances[0].off_s) : index(plan.pushes_end_s) + 1, :2]
    main = np.linalg.eigh(np.cov(pushing.T))[1][:, -1]
    main = main * (1.0 if main[0] > 0.0 else -1.0)
    return np.asarray(np.arctan2(down[:, :2] @ main, -down[:, 2]))
