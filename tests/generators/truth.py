"""True values of every push, from the rigid motion on the fine grid."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from tests.generators.shapes import GRID_HZ

if TYPE_CHECKING:
    from tests.generators.device import Logged
    from tests.generators.motion import Motion
    from tests.generators.plan import Plan, Stance
    from tests.generators.shapes import Array

COLUMNS = (
    "run", "side", "push", "blade_on_s", "blade_off_s", "blade_on_own_s", "blade_off_own_s", "contact_time_s",
    "stride_time_s", "push_off_angular_velocity_deg_s", "edge_angle_deg", "track_angle_deg", "blade_speed_m_s",
    "stride_length_m", "stride_width_m", "lateral_travel_m", "step_length_m", "glide_share_ratio", "standing", "first_lift", "near_gap",
)  # fmt: skip
SIGN = {"left": 1.0, "right": -1.0}


def _at(values: Array, time_s: float) -> Array:
    """Value at a time, linear between grid points."""
    place = time_s * GRID_HZ
    i = int(place)
    found: Array = values[i] * (1.0 - (place - i)) + values[i + 1] * (place - i)
    return found


def _span(start_s: float, end_s: float) -> slice:
    return slice(int(np.ceil(start_s * GRID_HZ)), int(end_s * GRID_HZ) + 1)


def level_y(motion: Motion, plan: Plan) -> Array:
    """Sideways axis of the skate as levelled by the mean gravity of the quiet stance, segment axes (3,)."""
    up = motion.earth_from_segment[_span(*plan.quiet_s), 2].mean(axis=0)
    up /= np.linalg.norm(up)
    side = np.cross(up, [1.0, 0.0, 0.0])
    unit: Array = side / np.linalg.norm(side)
    return unit


def lane(plan: Plan, motions: dict[str, Motion], finish_s: float = np.nan) -> Array:
    """Unit vector from the feet's midpoint in the quiet stance to their midpoint at the finish (2,).

    The finish is where pushing ends, unless a time is given.
    """
    middle = 0.5 * (motions["left"].place_m[:, :2] + motions["right"].place_m[:, :2])
    finish_s = finish_s if np.isfinite(finish_s) else plan.pushes_end_s
    way = _at(middle, finish_s) - middle[_span(*plan.quiet_s)].mean(axis=0)
    unit: Array = way / np.linalg.norm(way)
    return unit


def true_pushes(plan: Plan, motions: dict[str, Motion], logs: dict[str, Logged], run: str) -> pd.DataFrame:
    """One row a push, in order of blade-off."""
    ahead = lane(plan, motions)
    level = {side: level_y(motion, plan) for side, motion in motions.items()}
    rows = []
    for c in plan.stances[:-2]:
        row = {"run": run, "side": c.side, "push": (c.order + 1) // 2}
        row |= _times(plan, c, logs)
        row |= _values(plan, c, motions[c.side], level[c.side], ahead)
        row |= _between_feet(plan, c, motions, ahead)
        rows.append(row)
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _times(plan: Plan, c: Stance, logs: dict[str, Logged]) -> dict[str, float | bool]:
    reference, own = logs["left"], logs[c.side]
    standing = not np.isfinite(c.on_s)
    following = next(s for s in plan.of_side(c.side) if s.order == c.order + 2)
    on = np.nan if standing else c.on_s
    from_s = plan.start_s if standing else c.on_s
    spoiled = own.spoiled_s
    near = bool(np.any((spoiled > from_s - 0.02) & (spoiled < c.off_s + 0.1)))
    rate = 1.0 + reference.drift
    return {
        "blade_on_s": reference.own(on),
        "blade_off_s": reference.own(c.off_s),
        "blade_on_own_s": own.own(on),
        "blade_off_own_s": own.own(c.off_s),
        "contact_time_s": (c.off_s - on) * rate,
        "stride_time_s": (following.on_s - on) * rate,
        "standing": standing,
        "first_lift": c.order == 0,
        "near_gap": near,
    }


def _values(plan: Plan, c: Stance, motion: Motion, level: Array, ahead: Array) -> dict[str, float]:
    """Values of one contact that need one foot."""
    sign = SIGN[c.side]
    standing = not np.isfinite(c.on_s)
    contact = _span(plan.start_s if standing else c.on_s, c.off_s)
    burst = _span(c.off_s - 0.15, c.off_s + 0.10)
    edge = np.arcsin(np.clip(motion.earth_from_segment[contact, 2] @ level, -1.0, 1.0))
    speed = np.hypot(motion.velocity_m_s[contact, 0], motion.velocity_m_s[contact, 1])
    moment = c.off_s - 0.05
    glides = float(np.hypot(*_at(motion.velocity_m_s, moment)[:2])) >= 1.0
    off_lane = float(_at(motion.running_rad, moment)) - np.arctan2(ahead[1], ahead[0])
    across = np.array([-ahead[1], ahead[0]])
    travel = (
        np.nan
        if standing
        else sign * float((_at(motion.place_m, c.off_s) - _at(motion.place_m, c.on_s))[:2] @ across)
    )
    return {
        "push_off_angular_velocity_deg_s": float(np.degrees((motion.rate_rad_s[burst] @ level).max())),
        "edge_angle_deg": float(np.degrees((sign * edge).max())),
        "glide_share_ratio": np.nan if standing else glide_share(sign * edge),
        "track_angle_deg": float(np.degrees(sign * off_lane)) if glides else np.nan,
        "blade_speed_m_s": np.nan if standing else float(speed.mean()),
        "lateral_travel_m": travel,
    }


def glide_share(edge_rad: Array) -> float:
    """Share of a contact before the last turn inward that leads to its largest edge; NaN without an outside edge before."""
    top = int(np.argmax(edge_rad))
    upright = np.flatnonzero((edge_rad[:top] < 0.0) & (edge_rad[1 : top + 1] >= 0.0))
    tipped = top > 0 and edge_rad[:top].min() < -np.radians(1.0) and edge_rad[top] > np.radians(1.0)
    return float(upright[-1] + 1) / (len(edge_rad) - 1) if tipped and len(upright) else np.nan


def _between_feet(plan: Plan, c: Stance, motions: dict[str, Motion], ahead: Array) -> dict[str, float]:
    """Lengths and widths between this contact and the next of the same or the other foot."""
    across = np.array([-ahead[1], ahead[0]])
    same, other = plan.stances[c.order + 2], plan.stances[c.order + 1]
    here = motions[c.side].place_m
    result = dict.fromkeys(("stride_length_m", "step_length_m", "stride_width_m"), np.nan)
    if np.isfinite(c.on_s):
        result["stride_length_m"] = float((_at(here, same.on_s) - _at(here, c.on_s))[:2] @ ahead)
        result["step_length_m"] = float(
            (_at(motions[other.side].place_m, other.on_s) - _at(here, c.on_s))[:2] @ ahead
        )
    if np.isfinite(other.off_s):
        result["stride_width_m"] = abs(
            float((_at(motions[other.side].place_m, other.off_s) - _at(here, c.off_s))[:2] @ across)
        )
    return result
