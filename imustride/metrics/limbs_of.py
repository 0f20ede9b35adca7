"""Gather the worn segments around one foot's pushes on one grid of the run's clock."""

from __future__ import annotations

from dataclasses import astuple
from typing import TYPE_CHECKING

import numpy as np

from imustride.constants import SHANK_OF_HEIGHT, THIGH_OF_HEIGHT
from imustride.frames import about_z, turned_matrices
from imustride.metrics.limbs import GRID_HZ, WORST_HEADING_RAD, Known, Limbs
from imustride.segments import Fitting, Segment

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from imustride.kinematics import Clock
    from imustride.metrics.view import PushView
    from imustride.segments import Body

    Floats = NDArray[np.float64]

# Before the first and behind the last event: the motion that a stride at either end is averaged over.
MARGIN_S = 1.0
# Neither the long nor the forward axis counts where a fitting is poor.
POOR = Known(upright=False, forward=False, heading=False)
# What the metrics of each segment need: places across the lane ask for no axes, a leg for all of them.
WHOLE, MOVED = (
    Known(upright=True, forward=True, heading=True),
    Known(upright=False, forward=False, heading=True),
)
NEEDED = {
    "shank": WHOLE,
    "thigh": WHOLE,
    "pelvis": MOVED,
    "trunk": WHOLE,
    "head": MOVED,
    "arm": Known(upright=True, forward=False, heading=True),
}


def limbs_of(body: Body, view: PushView, clock: Clock) -> Limbs | None:
    """Return what goes with one foot; None where it makes no push.

    Parameters
    ----------
    body : Body
    view : PushView
        Of the foot.
    clock : Clock
        From its clock to the run's.
    """
    side = view.kinematics.side
    on_s, off_s, next_on_s = (
        np.asarray(clock.reference(times)) for times in (view.on_s, view.off_s, view.next_on_s)
    )
    stance_s = float(np.asarray(clock.reference(view.kinematics.cut.stance_s[1])))
    begin_s = np.where(np.isfinite(on_s), on_s, stance_s)
    events = np.concatenate((begin_s, off_s, next_on_s))
    if not len(on_s) or not np.isfinite(off_s).any():
        return None
    time_s = np.arange(np.nanmin(events) - MARGIN_S, np.nanmax(events) + MARGIN_S, 1 / GRID_HZ)
    segments = named(body, side)
    attitude, known = attitudes(segments, skate_segment(view, clock), time_s)
    integrated: dict[str, Floats] = {
        name: place_of(segments[name], time_s)
        for name in ("pelvis", "head")
        if name in segments and known[name].heading
    }
    thigh_m, shank_m = (
        float(lengths.get(side, np.nan)) for lengths in (body.lengths.thigh_m, body.lengths.shank_m)
    )
    return Limbs(
        outward=view.outward,
        time_s=time_s,
        attitude=attitude,
        known=known,
        place_m=integrated,
        thigh_m=thigh_m,
        shank_m=shank_m,
        leg_shares=leg_shares(thigh_m, shank_m),
        begin_s=begin_s,
        on_s=on_s,
        off_s=off_s,
        next_on_s=next_on_s,
        stride_s=stride_around(time_s, on_s, next_on_s),
        poor=frozenset(name for name in segments if lacks(known[name], NEEDED[name])),
    )


def attitudes(
    segments: Mapping[str, Segment], skate: Segment | None, time_s: Floats
) -> tuple[dict[str, Floats], dict[str, Known]]:
    """Return the attitude of each segment at the times, and what is known of it."""
    known = {name: known_of(segment) for name, segment in segments.items()}
    attitude = {name: segment.attitude(time_s) for name, segment in segments.items()}
    if skate is not None:
        attitude["skate"] = skate.attitude(time_s)
        known["skate"] = Known(upright=True, forward=True, heading=True)
    return attitude, known


# What a kind of place is called here, where that is another word.
NAMES = {"wrist": "arm"}


def lacks(known: Known, needed: Known) -> bool:
    """Whether something needed is not known."""
    return any(need and not have for have, need in zip(astuple(known), astuple(needed), strict=True))


def places_with(side: str) -> dict[str, str]:
    """Return the places that go with a foot, by what they are to it; the arm is the other side's."""
    across = "right" if side == "left" else "left"
    return {
        "shank": f"{side}_shank",
        "thigh": f"{side}_thigh",
        "pelvis": "pelvis",
        "trunk": "trunk",
        "head": "head",
        "arm": f"{across}_wrist",
    }


def named(body: Body, side: str) -> dict[str, Segment]:
    """Return the segments that go with a foot, by what they are to it."""
    places = places_with(side)
    return {name: body.segments[place] for name, place in places.items() if place in body.segments}


def known_of(segment: Segment) -> Known:
    """Tell what can be said of a segment's attitude."""
    fitting = segment.fitting
    if fitting.problem:
        return POOR
    return Known(
        upright=fitting.upright,
        forward=bool(np.isfinite(fitting.forward_sd_rad)),
        heading=segment.heading_sd_rad < WORST_HEADING_RAD,
    )


def skate_segment(view: PushView, clock: Clock) -> Segment | None:
    """Return the skate as a segment in the lane; None where no path says how its own earth frame lies in it."""
    moved = view.kinematics
    if view.path is None:
        return None
    attitude = moved.earth_from_segment
    running = np.arctan2(-attitude[:, 0, 1], attitude[:, 1, 1])
    turn = np.exp(1j * (view.path.heading_rad - running))
    yaw = float(np.angle(np.nanmedian(turn.real) + 1j * np.nanmedian(turn.imag)))
    return Segment(
        f"{moved.side}_skate",
        clock,
        moved.start_s,
        moved.rate_hz,
        turned_matrices(about_z(yaw), attitude, np.eye(3)),
        np.zeros((0, 3)),
        moved.measured & ~moved.clipped[:, 1],
        Fitting(np.eye(3), upright=True, forward_sd_rad=moved.forward_sd_rad),
    )


def stride_around(time_s: Floats, on_s: Floats, next_on_s: Floats) -> Floats:
    """Return the length of the stride around each instant [s], constant before the first and behind the last."""
    known = np.isfinite(on_s) & np.isfinite(next_on_s)
    if not known.any():
        return np.full(len(time_s), np.nan)
    middle_s = (on_s[known] + next_on_s[known]) / 2
    return np.interp(time_s, middle_s, (next_on_s - on_s)[known])


def place_of(segment: Segment, time_s: Floats) -> Floats:
    """Return where a sensor is across the lane and upwards [m], integrated on the grid, shape (m, 2); NaN in gaps."""
    place = segment.acceleration_m_s2[:, 1:]
    for _ in range(2):
        total = np.zeros_like(place)
        np.cumsum((place[1:] + place[:-1]) * (0.5 / segment.rate_hz), axis=0, out=total[1:])
        place = total
    out = np.column_stack(
        [np.interp(time_s, segment.time_s, course, left=np.nan, right=np.nan) for course in place.T]
    )
    out[np.interp(time_s, segment.time_s, (~segment.measured).astype(float)) > 0] = np.nan
    return out


def leg_shares(thigh_m: float, shank_m: float) -> tuple[float, float]:
    """Return the shares of thigh and shank in the straight leg: as measured, else by published proportions."""
    if not np.isfinite(thigh_m + shank_m):
        thigh_m, shank_m = THIGH_OF_HEIGHT, SHANK_OF_HEIGHT
    return thigh_m / (thigh_m + shank_m), shank_m / (thigh_m + shank_m)
