"""The true value of every column of the contract, read from the motion itself."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.simulation.blade import body_rate, rotate_back, running_angle
from imustride.simulation.sensors import own_time
from imustride.simulation.steps import OUTWARD
from imustride.simulation.transitions import GRID_HZ, sample

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from imustride.simulation.drawing import Draw
    from imustride.simulation.motion import Motion
    from imustride.simulation.timing import Contact

    Floats = NDArray[np.float64]

# Windows of the contract: rate around blade-off, running direction before it, slowest glide.
BEFORE_OFF_S, AFTER_OFF_S = 0.15, 0.10
DIRECTION_BEFORE_S = 0.05
SLOWEST_GLIDE_M_S = 1.0
TOUCHES_S = (0.02, 0.10)  # a gap or clip this near before blade-on or after blade-off touches the contact


def truth_table(
    draw: Draw, motion: Motion, spoilt_s: dict[str, tuple[tuple[float, float], ...]], run: str
) -> pd.DataFrame:
    """Return one row per true push, by blade-off; times on the clock of the left skate and on the own."""
    import pandas as pd

    angle = lane_angle(motion)
    rows = [_row(draw, motion, contact, angle, spoilt_s[contact.side]) for contact in motion.plan.pushes]
    table = pd.DataFrame(rows).sort_values("blade_off_s", kind="stable", ignore_index=True)
    table.insert(0, "run", run)
    return table


def lane_angle(motion: Motion, finish_s: float = np.nan) -> float:
    """Direction of the lane [rad]: midpoint of the feet in the stance to the finish.

    The finish is where pushing ends, unless a time is given.
    """
    finish_s = finish_s if np.isfinite(finish_s) else motion.plan.push_end_s
    begin, end = (sample(time_s) for time_s in (motion.plan.stance_s[1], finish_s))
    way = motion.middle_m[end] - motion.middle_m[begin]
    return float(np.arctan2(way[1], way[0]))


def levelled_y(motion: Motion, side: str) -> Floats:
    """The skate's y axis as levelled in the quiet stance, in segment axes (3,)."""
    attitude = motion.feet[side].attitude
    span = slice(*(sample(time_s) for time_s in motion.plan.stance_s))
    pitch, roll = attitude.pitch[span].mean(), attitude.roll[span].mean()
    y = np.array([np.sin(pitch) * np.sin(roll), np.cos(roll), np.cos(pitch) * np.sin(roll)])
    x = np.array([np.cos(pitch), 0.0, -np.sin(pitch)])
    up = np.cross(x, y)
    # Columns of the tilt are the segment axes in the levelled frame; its second row is y levelled.
    return np.array([x[1], y[1], up[1]])


def _row(
    draw: Draw, motion: Motion, contact: Contact, lane: float, spoilt_s: tuple[tuple[float, float], ...]
) -> dict[str, Any]:
    """Return the row of one push."""
    standing = contact.kind == "standing"
    on_s = np.nan if standing else contact.on_s
    left, own = draw.devices["left"], draw.devices[contact.side]
    own_on = float(own_time(own, on_s if not standing else contact.off_s - 0.5))
    own_off = float(own_time(own, contact.off_s))
    row: dict[str, Any] = {
        "side": contact.side,
        "push": (contact.order + 1) // 2 if contact.order % 2 == 1 else contact.order // 2,
        "blade_on_s": own_time(left, on_s),
        "blade_off_s": own_time(left, contact.off_s),
        "blade_on_own_s": own_time(own, on_s),
        "blade_off_own_s": own_time(own, contact.off_s),
        "contact_time_s": contact.off_s - on_s,
        "stride_time_s": _next_on(motion, contact.side, contact) - on_s,
        **_angles(motion, contact, lane),
        **_lengths(motion, contact, lane),
        "standing": standing,
        "first_lift": contact.order == 0,
        "near_gap": any(
            from_s <= own_off + TOUCHES_S[1] and to_s >= own_on - TOUCHES_S[0] for from_s, to_s in spoilt_s
        ),
    }
    return row


def _next_on(motion: Motion, side: str, contact: Contact) -> float:
    """Return when a foot meets the ice next after this push."""
    return min(
        c.on_s for c in motion.plan.contacts[side] if c.on_s > contact.on_s and c.on_s > contact.off_s - 2
    )


def _angles(motion: Motion, contact: Contact, lane: float) -> dict[str, float]:
    """Angular velocity, edge and track of one push, degrees."""
    foot = motion.feet[contact.side]
    y = levelled_y(motion, contact.side)
    rate = body_rate(_part(foot.attitude, contact.off_s - BEFORE_OFF_S, contact.off_s + AFTER_OFF_S)) @ y
    from_s = max(contact.on_s, motion.plan.stance_s[1])
    part = _part(foot.attitude, from_s, contact.off_s)
    edge = np.arcsin(rotate_back(part, np.array([[0.0, 0.0, 1.0]])) @ y) * OUTWARD[contact.side]
    i = sample(contact.off_s - DIRECTION_BEFORE_S)
    speed = np.hypot(foot.path.along_m_s[i], foot.path.across_m_s[i])
    track = OUTWARD[contact.side] * (running_angle(foot.attitude)[i] - lane)
    pivots = foot.pivots[contact.order]
    return {
        "push_off_angular_velocity_deg_s": float(np.degrees(rate.max())),
        "edge_angle_deg": float(np.degrees(edge.max())),
        "glide_share_ratio": np.nan if contact.kind == "standing" else _glide_share(edge),
        "track_angle_deg": np.nan if pivots or speed < SLOWEST_GLIDE_M_S else float(np.degrees(track)),
    }


def _glide_share(edge: Floats) -> float:
    """Return the share of a contact before the blade tips onto its inside edge for its largest angle, NaN if it does not.

    Angles below one degree are no edge.
    """
    least = np.radians(1.0)
    before = edge[: int(edge.argmax())]
    if edge.max() < least or not np.any(before < -least):
        return np.nan
    return float(np.flatnonzero(before < 0)[-1] + 0.5) / (len(edge) - 1)


def _lengths(motion: Motion, contact: Contact, lane: float) -> dict[str, float]:
    """Speed and lengths of one push [m, m/s], along and across the lane."""
    foot = motion.feet[contact.side]
    other = "right" if contact.side == "left" else "left"
    along, across = _on_lane(foot.path.place_m, lane)
    other_along, other_across = _on_lane(motion.feet[other].path.place_m, lane)
    off = sample(contact.off_s)
    following = [c for c in motion.plan.pushes if c.order == contact.order + 1]
    width = abs(other_across[sample(following[0].off_s)] - across[off]) if following else np.nan
    if contact.kind == "standing":
        return dict.fromkeys(("blade_speed_m_s", "stride_length_m"), np.nan) | {
            "stride_width_m": float(width),
            "lateral_travel_m": np.nan,
            "step_length_m": np.nan,
        }
    on = sample(contact.on_s)
    velocity = np.gradient(foot.path.place_m[on : off + 1, :2], 1 / GRID_HZ, axis=0)
    next_on = sample(_next_on(motion, contact.side, contact))
    other_on = sample(min(c.on_s for c in motion.plan.contacts[other] if c.on_s > contact.on_s))
    return {
        "blade_speed_m_s": float(np.hypot(*velocity.T).mean()),
        "stride_length_m": float(along[next_on] - along[on]),
        "stride_width_m": float(width),
        "lateral_travel_m": float(OUTWARD[contact.side] * (across[off] - across[on])),
        "step_length_m": float(other_along[other_on] - along[on]),
    }


def _on_lane(place_m: Floats, lane: float) -> tuple[Floats, Floats]:
    cos, sin = np.cos(lane), np.sin(lane)
    return place_m[:, 0] * cos + place_m[:, 1] * sin, place_m[:, 1] * cos - place_m[:, 0] * sin


def _part(attitude: Any, from_s: float, to_s: float) -> Any:
    """Return the attitude in a span of time."""
    span = slice(sample(from_s), sample(to_s) + 1)
    return type(attitude)(attitude.yaw[span], attitude.pitch[span], attitude.roll[span], attitude.load[span])
