"""Track both blades along the lane: first guess of the lane, joint fit, paths with uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.kinematics import BladePath
from imustride.recording import stretches
from imustride.trajectory.body import body_path
from imustride.trajectory.gates import LEAD, contradiction_m, gate_spread
from imustride.trajectory.joint import Rhythm, solve
from imustride.trajectory.middle import averaged, middle
from imustride.trajectory.settings import TrackSettings
from imustride.trajectory.skate import course

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from imustride.kinematics import BodyPath, Clock, Gates, Kinematics
    from imustride.trajectory.joint import Solution
    from imustride.trajectory.skate import Course

SIDES = ("left", "right")


@dataclass(frozen=True, eq=False, slots=True)
class Tracks:
    """Paths of the blades by side, and of the body that they carry.

    `doubt` says why the paths are not to be trusted, `note` what was left out of the fit; empty where nothing.
    """

    paths: dict[str, BladePath]
    body: BodyPath
    doubt: str = ""
    note: str = ""


def first_lane_yaw(kinematics: Kinematics, until_s: float) -> float:
    """Turn that takes a skate's own earth frame to its own net direction of travel [rad]."""
    first, last = (
        round((at - kinematics.start_s) * kinematics.rate_hz) for at in (kinematics.cut.stance_s[1], until_s)
    )
    way = kinematics.velocity_m_s[first:last, :2].sum(axis=0)
    return -float(np.arctan2(way[1], way[0]))


def inside_contacts(
    times_s: NDArray[np.float64], contacts_s: NDArray[np.float64], inside_s: float
) -> NDArray[np.bool_]:
    """Nodes well inside contacts that have a blade-on, shape (n,)."""
    begin = contacts_s[1:, 0] + inside_s
    end = np.where(np.isnan(contacts_s[1:, 1]), contacts_s[1:, 0] + 0.6, contacts_s[1:, 1] - inside_s)
    return np.asarray(((times_s[:, None] > begin) & (times_s[:, None] < end)).any(axis=1))


def track(
    kinematics: Mapping[str, Kinematics],
    clocks: Mapping[str, Clock],
    contacts_s: Mapping[str, NDArray[np.float64]],
    stands: Mapping[str, bool],
    gates: Gates | None = None,
    settings: TrackSettings | None = None,
) -> Tracks:
    """Fit the paths of one or two skates.

    Parameters
    ----------
    kinematics, clocks : mapping of side
    contacts_s : mapping of side to ndarray, shape (k, 2)
        Own clocks; the first contact is the standing one.
    stands : mapping of side to bool
        Whether the quiet span after the motion is known to be a stance.
    gates : Gates, optional
    settings : TrackSettings, optional

    Returns
    -------
    Tracks
    """
    settings = settings or TrackSettings()
    sides = [side for side in SIDES if side in kinematics]
    ends = {side: last_off(contacts_s[side]) for side in sides}
    courses: list[Course] = []
    on_ice, stopped = [], []
    for side in sides:
        one, stop = kinematics[side], kinematics[side].cut.stop_s
        still = stop is not None and stands[side] and stop[0] - one.cut.stance_s[1] < settings.longest_s
        after_s = settings.after_s if gates is None else settings.after_gated_s
        end = stop[0] + settings.stop_s if stop is not None and still else ends[side] + after_s
        start = (0.0, settings.half_stance_m * (1 if side == "left" else -1))
        yaw = first_lane_yaw(one, ends[side])
        courses.append(course(one, clocks[side], (one.cut.stance_s[1], end), yaw, start, settings))
        own_times = courses[-1].time_s - float(np.asarray(clocks[side].reference(0.0)))
        on_ice.append(inside_contacts(own_times, contacts_s[side], settings.inside_s))
        stopped.append(still)
    on_s = tuple(np.asarray(clocks[side].reference(contacts_s[side][1:, 0])) for side in sides)
    end_s = max(float(np.asarray(clocks[side].reference(ends[side]))) for side in sides)
    rhythm = Rhythm(on_s, end_s, settings.usual_stride_s)
    solution = solve(courses, on_ice, stopped, rhythm, None, settings)
    note = ""
    if gates is not None:
        lane = lane_of(courses, solution, rhythm, end_s, settings)
        alone = body_path(courses, solution, rhythm, lane[0], None, settings)
        through = solve(courses, on_ice, stopped, rhythm, gates, settings)
        if note := misfit_of_gates(alone, through, gates, settings):
            gates = None
        else:
            solution = through
    finish_s = float(solution.gate_s[-1]) if len(solution.gate_s) else end_s
    lane = lane_of(courses, solution, rhythm, finish_s, settings)
    body = body_path(courses, solution, rhythm, lane[0], gates, settings)
    paths = in_lane(kinematics, clocks, courses, solution, lane, settings)
    return Tracks(paths, body, doubt_of(kinematics, ends, solution, settings), note)


def misfit_of_gates(alone: BodyPath, through: Solution, gates: Gates, settings: TrackSettings) -> str:
    """Say how the gates contradict the sensors, if they do: against the path without them, and in the fit through them."""
    off_m = contradiction_m(alone, gates, settings)
    lead = abs(through.value[LEAD]) / gate_spread(gates, settings)[LEAD]
    missed_m = float(np.nanmax(np.abs(through.gate_miss_m), initial=0.0))
    fits = missed_m <= settings.most_gate_miss_m and lead <= settings.most_lead
    if off_m == 0.0 and fits and through.strain <= settings.most_strain:
        return ""
    return (
        f"the times or positions of the gates do not fit the sensors (off by {max(abs(off_m), missed_m):.1f} m): the paths "
        "were found without them; check gates.csv and start_behind_m"
    )


def doubt_of(
    kinematics: Mapping[str, Kinematics],
    ends_s: Mapping[str, float],
    solution: Solution,
    settings: TrackSettings,
) -> str:
    """Say why the paths are not to be trusted, if they are not."""
    for side, moved in kinematics.items():
        first = round((moved.cut.stance_s[1] - moved.start_s) * moved.rate_hz)
        last = round((ends_s[side] - moved.start_s) * moved.rate_hz)
        gaps = stretches(~moved.measured[first:last])
        longest_s = int(np.diff(gaps, axis=1).max(initial=0)) / moved.rate_hz
        if longest_s > settings.longest_gap_s:
            return f"a gap of {longest_s:.2f} s in the {side} log loses the path"
    strained = solution.strain > settings.most_strain or solution.wander > settings.most_wander
    if strained or solution.rejected > settings.most_rejected:
        return (
            "the motion does not fit blades that run along themselves: a sensor turned, or its data are poor"
        )
    return ""


def lane_of(
    courses: Sequence[Course],
    solution: Solution,
    rhythm: Rhythm,
    finish_s: float,
    settings: TrackSettings,
) -> tuple[float, float]:
    """Direction of the lane and its standard deviation [rad]: from the feet's middle in the stance to the finish.

    At the finish the feet are averaged over a stride: an instant would lay their sway into the lane.
    """
    feet = middle(courses, len(solution.value), settings.step_s)
    at = np.array([min(finish_s, feet.time_s[-1])])
    width = rhythm.stride_s(at)
    root = settings.sd_factor * np.asarray(np.linalg.cholesky(solution.covariance), float)
    position = feet.at(solution.value)
    way = averaged(feet.time_s, position, at, width)[0] - position[0]
    spread = (averaged(feet.time_s, feet.by, at, width)[0] - feet.by[0]) @ root
    distance = float(np.hypot(*way))
    return float(np.arctan2(way[1], way[0])), float(np.linalg.norm(spread[1])) / max(distance, 1.0)


def in_lane(
    kinematics: Mapping[str, Kinematics],
    clocks: Mapping[str, Clock],
    courses: Sequence[Course],
    solution: Solution,
    lane: tuple[float, float],
    settings: TrackSettings,
) -> dict[str, BladePath]:
    """Apply the fit to each skate and turn its path into the lane."""
    begin = np.concatenate(([0], np.cumsum([len(one.spread) for one in courses])))
    root = settings.sd_factor * np.asarray(np.linalg.cholesky(solution.covariance), float)
    sides = [side for side in SIDES if side in kinematics]
    return {
        side: path_of(
            kinematics[side], clocks[side], courses[k], slice(begin[k], begin[k + 1]), solution.value, root, lane
        )
        for k, side in enumerate(sides)
    }  # fmt: skip


def last_off(contacts_s: NDArray[np.float64]) -> float:
    """Last blade-off of a skate, or its last blade-on where there is none [s]."""
    offs = contacts_s[np.isfinite(contacts_s[:, 1]), 1]
    return float(offs[-1] if len(offs) else np.nanmax(contacts_s))


def path_of(
    kinematics: Kinematics,
    clock: Clock,
    one: Course,
    own: slice,
    value: NDArray[np.float64],
    root: NDArray[np.float64],
    lane: tuple[float, float],
) -> BladePath:
    """Apply the fitted unknowns to one skate and turn it into the lane (its direction and its spread, rad)."""
    lane_rad, lane_sd_rad = lane
    c, s = np.cos(-lane_rad), np.sin(-lane_rad)
    turn = np.array([[c, -s], [s, c]])
    position = (one.position_m + one.position_by @ value[own]) @ turn.T
    velocity = (one.velocity_m_s + one.velocity_by @ value[own]) @ turn.T
    # Back onto the own clock; its drift over a run is far below a node.
    own_s = one.time_s - float(np.asarray(clock.reference(one.time_s[0]))) + one.time_s[0]
    across = kinematics.earth_from_segment[:, :2, 1]
    # y x z = (y2, -y1, 0): along the blade, level; it turns too fast at push-off for the nodes.
    course_rad = np.arctan2(-across[:, 0], across[:, 1]) + one.lane_yaw_rad - lane_rad
    heading = course_rad + np.interp(kinematics.time_s, own_s, one.heading_by @ value[own])
    mine = root[own]
    return BladePath(
        own_s,
        position,
        velocity,
        np.angle(np.exp(1j * heading)),
        turn @ one.position_by @ mine,
        one.heading_by @ mine,
        lane_sd_rad,
    )
