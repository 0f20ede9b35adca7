"""The rest of the body in one run: each sensor's clock joined, oriented, put on its segment and turned into the lane."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.alignment.fitting import kind_of
from imustride.alignment.heading import Heading, fit_heading
from imustride.constants import SKATES
from imustride.errors import SignalQualityError
from imustride.frames import about_z, level_from_gravity, matrices_on, turned_matrices
from imustride.kinematics import Clock, Cut
from imustride.metrics.limbs import WORST_HEADING_RAD
from imustride.metrics.limbs_of import NAMES, NEEDED, known_of, lacks
from imustride.orientation.stance import Rest
from imustride.recording import stretches
from imustride.registry import methods
from imustride.segments import Body, Fitting, Lengths, Segment
from imustride.synchronisation.activity import activity_lag_s
from imustride.synchronisation.dulled import join_dulled

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from imustride.kinematics import BodyPath
    from imustride.recording import Recording
    from imustride.settings import Settings

# How much a sensor may turn and shake while the skater stands quietly: the body sways more than the feet
# (common practice, no source).
QUIET_RATE_SD_RAD_S = np.radians(10.0)
QUIET_ACCELERATION_SD_M_S2 = 1.0
SHORTEST_STANCE_S = 0.8
USUAL_STRIDE_S = 0.8
# Of what a sensor usually turns in the time of a hole this share is guessed wrongly, and beyond this angle what comes after
# cannot be told (holes of 0.08 to 0.4 s in simulated runs: 1 to 10 degrees on shank and thigh).
LOST_SHARE, WORST_LOST_RAD = 0.2, np.radians(3.0)
# A leg's segment is shaken when its own foot lands and pushes: the correlation with the other foot is lower by 0.3 and more
# (24 simulated runs, DEVELOPERS). Cosine of the angle from the lane beyond which a segment faces backwards.
CLEARLY_MORE_ALIKE, BACKWARDS = 0.2, -0.2
ALIKE_HZ, SHAKEN_S = 100.0, 0.05
SEGMENT_COLUMNS = [
    "run", "place", "clock_sd_s", "upright", "forward_sd_deg", "movements", "heading_sd_deg", "problem"
]  # fmt: skip


@dataclass(frozen=True, eq=False, slots=True)
class RunFrame:
    """What the skates tell the rest of the body of a run.

    Parameters
    ----------
    recording : Recording
        Of the skate whose shocks and stance count.
    cut : Cut
        Its stance, motion and, where the skater stood after the stop, that stance; own clock.
    clock : Clock
        From its clock to that of the run.
    path : BodyPath or None
    stride_s : float
        Usual stride time.
    skates : mapping of side to (Recording, Clock)
        Both feet, where their clocks are joined: with which of them does a leg move?
    """

    recording: Recording
    cut: Cut
    clock: Clock
    path: BodyPath | None = None
    stride_s: float = USUAL_STRIDE_S
    skates: Mapping[str, tuple[Recording, Clock]] = field(default_factory=dict)


@dataclass(frozen=True, eq=False, slots=True)
class Worn:
    """How sensors sit on the rest of the body, by place, and the lengths of its segments.

    Places without a fitting are levelled by the run's own stance.
    """

    fittings: Mapping[str, Fitting] = field(default_factory=dict)
    lengths: Lengths = field(default_factory=Lengths)


def body_of_run(
    recordings: Mapping[str, Recording], frame: RunFrame, worn: Worn, settings: Settings
) -> Body | None:
    """Put every body sensor of a run on its segment, in the lane.

    Parameters
    ----------
    recordings : mapping of place to Recording
        Calibrated; those of the skates are passed over.
    frame : RunFrame
    worn : Worn
    settings : Settings

    Returns
    -------
    Body or None
        None where nothing but skates was worn.
    """
    places = [place for place in recordings if place not in SKATES]
    if not places:
        return None
    segments: dict[str, Segment] = {}
    problems: dict[str, str] = {}
    for place in places:
        try:
            segments[place] = segment_of(recordings[place], frame, worn.fittings.get(place), settings)
        except SignalQualityError as error:
            problems[place] = str(error)
    return Body(segments, worn.lengths, problems)


def segment_of(recording: Recording, frame: RunFrame, fitting: Fitting | None, settings: Settings) -> Segment:
    """Put one sensor on its segment, in the lane.

    Raises
    ------
    SignalQualityError
        If its clock cannot be joined, or it did not stand still in the quiet stance.
    """
    from_skate = joined(recording, frame, settings)
    stance = quiet_span(recording, from_skate.own(np.array(frame.cut.stance_s)))
    if stance is None:
        message = (
            f"{recording.place}: it moved, or was not logged, while the feet stood still; stand so for 3 s"
        )
        raise SignalQualityError(message)
    stop_s = frame.cut.stop_s
    stop = None if stop_s is None else quiet_span(recording, from_skate.own(np.array(stop_s)))
    earth_from_sensor = methods("orientation")[settings.orientation].estimate(
        recording.angular_velocity_rad_s,
        recording.acceleration_m_s2,
        recording.rate_hz,
        Rest(stance, stop, ~recording.measured),
    )
    recording = replace(recording, measured=followed(recording, stance))
    force = matrices_on(earth_from_sensor, recording.acceleration_m_s2)
    force[:, 2] -= np.linalg.norm(recording.acceleration_m_s2[stance].mean(axis=0))
    clock = through(frame.clock, from_skate)
    heading = heading_of(recording, force, stance, stop, clock, frame, settings)
    since_s = np.maximum(np.arange(len(force)) - stance.stop, 0) / recording.rate_hz
    force -= np.column_stack((np.ones(len(force)), since_s)) @ heading.drift_m_s2
    lane_from_earth = about_z(heading.lane_from_earth_rad)
    fitting = facing(
        fitting or by_stance(recording, stance), lane_from_earth @ earth_from_sensor[stance.stop - 1]
    )
    lane_from_segment = turned_matrices(lane_from_earth, earth_from_sensor, fitting.segment_from_sensor.T)
    standing = lane_from_segment[stance] if heading.sd_rad < WORST_HEADING_RAD else None
    problem = fitting.problem or worn_wrong(recording, clock, standing, fitting, frame)
    return Segment(
        recording.place,
        clock,
        recording.start_s,
        recording.rate_hz,
        lane_from_segment,
        force @ lane_from_earth.T,
        recording.measured,
        replace(fitting, problem=problem),
        heading.sd_rad,
    )


def joined(recording: Recording, frame: RunFrame, settings: Settings) -> Clock:
    """Join a body sensor's clock to the skate's by the shared shocks.

    Raises
    ------
    SignalQualityError
        If no shock is shared.
    """
    skate = frame.recording
    lag_s = activity_lag_s(skate, recording)
    begin_s, end_s = frame.cut.motion_s
    motion = Cut((begin_s - lag_s, begin_s - lag_s), (begin_s - lag_s, end_s - lag_s))
    clock = join_dulled(skate, recording, (frame.cut, motion), settings.shocks, kind_of(recording.place))
    if not clock.joined:
        message = (
            f"{recording.place}: no shock was shared with the skates, its clock is not joined; wanted two sharp drops of "
            "both heels before the start"
        )
        raise SignalQualityError(message)
    return clock


def through(outer: Clock, inner: Clock) -> Clock:
    """Return the map through two clocks: `inner` first, then `outer`."""
    at_s = inner.at_s
    offset_s = float(np.asarray(outer.reference(inner.reference(at_s)))) - at_s
    drift = (1 + inner.drift) * (1 + outer.drift) - 1
    return Clock(
        offset_s, drift, at_s, float(np.hypot(inner.sd_s, outer.sd_s)), inner.joined and outer.joined
    )


def quiet_span(recording: Recording, span_s: NDArray[np.float64]) -> slice | None:
    """Return the longest whole piece of a span in which the skates stood, None unless this sensor was quiet there too."""
    begin, end = recording.index(float(span_s[0])), recording.index(float(span_s[1]))
    whole = stretches(recording.measured[begin:end])
    if not len(whole):
        return None
    first, last = begin + whole[np.argmax(whole[:, 1] - whole[:, 0])]
    span = slice(int(first), int(last))
    if span.stop - span.start < SHORTEST_STANCE_S * recording.rate_hz:
        return None
    turning = np.linalg.norm(recording.angular_velocity_rad_s[span].std(axis=0))
    shaking = np.linalg.norm(recording.acceleration_m_s2[span].std(axis=0))
    return span if turning < QUIET_RATE_SD_RAD_S and shaking < QUIET_ACCELERATION_SD_M_S2 else None


def followed(recording: Recording, stance: slice) -> NDArray[np.bool_]:
    """Return the samples whose attitude can be told: measured, and before any hole in which too much turning was lost."""
    known = recording.measured & ~recording.clipped[:, 1]
    moving = recording.angular_velocity_rad_s[stance.stop :][known[stance.stop :]]
    usual_rad_s = float(np.sqrt((moving**2).sum(axis=1).mean())) if len(moving) else 0.0
    for first, last in stretches(~known):
        lost_rad = LOST_SHARE * usual_rad_s * (last - first) / recording.rate_hz
        if first >= stance.stop and lost_rad > WORST_LOST_RAD:
            known[first:] = False
            break
    return known


def heading_of(
    recording: Recording,
    force: NDArray[np.float64],
    stance: slice,
    stop: slice | None,
    clock: Clock,
    frame: RunFrame,
    settings: Settings,
) -> Heading:
    """Find the heading of a sensor's earth frame against the lane by how it travels."""
    rate_hz = recording.rate_hz
    velocity = np.cumsum(force[stance.stop :], axis=0) / rate_hz
    start_s = recording.start_s + stance.stop / rate_hz
    end_s = recording.start_s + (len(recording.measured) - 1) / rate_hz
    time_s = np.arange(0.0, end_s - start_s, settings.heading.step_s)
    place = np.minimum(np.round(time_s * rate_hz).astype(int), len(velocity) - 1)
    speed = speed_at(np.asarray(clock.reference(start_s + time_s)), frame)
    return fit_heading(
        velocity[place],
        time_s,
        np.where(recording.measured[stance.stop :][place], speed, np.nan),
        frame.stride_s,
        (stop.start - stance.stop) / rate_hz if stop is not None and recording.measured[stop].all() else None,
        settings.heading,
    )


def speed_at(times_s: NDArray[np.float64], frame: RunFrame) -> NDArray[np.float64]:
    """Speed of the body along the lane at times of the run's clock [m/s]; NaN where the path does not reach."""
    if frame.path is None:
        return np.full(len(times_s), np.nan)
    path = frame.path
    return np.interp(times_s, path.time_s, path.speed_m_s, left=0.0, right=np.nan)


def worn_wrong(
    recording: Recording,
    clock: Clock,
    standing: NDArray[np.float64] | None,
    fitting: Fitting,
    frame: RunFrame,
) -> str:
    """Say when a sensor moves like another place: with the other foot, or the other way round in the squats.

    Parameters
    ----------
    recording : Recording
    clock : Clock
        From its clock to the run's.
    standing : ndarray, shape (n, 3, 3), or None
        Its attitude in the lane during the quiet stance; None where its heading is not known.
    fitting : Fitting
    frame : RunFrame
    """
    side, _, kind = recording.place.partition("_")
    if kind in {"shank", "thigh"} and len(frame.skates) == len(SKATES):
        alike = {foot: moves_alike(recording, clock, *frame.skates[foot], frame) for foot in frame.skates}
        other = next(foot for foot in alike if foot != side)
        if alike[other] > alike[side] + CLEARLY_MORE_ALIKE:
            return (
                f"it moves with the {other} foot, not with the {side} one; exchange the sensors, or their places in "
                "session.toml"
            )
    if standing is None or not fitting.movements:
        return ""
    forward = standing[:, :2, 0].mean(axis=0)
    if forward[0] < BACKWARDS * np.linalg.norm(forward):
        return (
            "in the squats it tipped the other way than this place does; are shank and thigh exchanged? correct the places "
            "in session.toml"
        )
    return ""


def moves_alike(one: Recording, clock: Clock, other: Recording, other_clock: Clock, frame: RunFrame) -> float:
    """Return the correlation of how hard two sensors are shaken while the feet move.

    Landings and pushes of a foot run up its own leg; how fast parts turn says less, since both legs turn at all times.
    """
    begin_s, end_s = (float(np.asarray(frame.clock.reference(at_s))) for at_s in frame.cut.motion_s)
    times_s = np.arange(begin_s, end_s, 1 / ALIKE_HZ)
    shaking = [
        np.interp(each.own(times_s), recording.time_s, shaken_m_s2(recording))
        for recording, each in ((one, clock), (other, other_clock))
    ]
    return float(np.asarray(np.corrcoef(shaking))[0, 1]) if len(times_s) > 2 else 0.0


def shaken_m_s2(recording: Recording) -> NDArray[np.float64]:
    """Return how far the specific force is from its usual size, root mean square around each sample [m/s^2], shape (n,)."""
    from scipy.ndimage import uniform_filter1d

    size = np.linalg.norm(recording.acceleration_m_s2, axis=1)
    samples = max(round(SHAKEN_S * recording.rate_hz), 1)
    squares = uniform_filter1d((size - np.median(size)) ** 2, samples)
    return np.sqrt(np.maximum(squares, 0.0))


def by_stance(recording: Recording, stance: slice) -> Fitting:
    """Return the fitting where no standing was recorded: z up in the quiet stance."""
    level = level_from_gravity(recording.acceleration_m_s2[stance].mean(axis=0))
    return Fitting(level, upright=False, forward_sd_rad=np.inf)


def facing(fitting: Fitting, lane_from_sensor: NDArray[np.float64]) -> Fitting:
    """Turn a fitting whose forward axis nobody showed so that it faces along the lane in the quiet stance."""
    if np.isfinite(fitting.forward_sd_rad):
        return fitting
    seen = lane_from_sensor @ fitting.segment_from_sensor.T
    turn = about_z(float(np.arctan2(seen[1, 0], seen[1, 1])))
    if (seen @ turn.T)[0, 0] < 0:
        turn = -turn * [[1.0], [1.0], [-1.0]]
    return replace(fitting, segment_from_sensor=turn @ fitting.segment_from_sensor)


def segments_table(runs: Mapping[str, Body]) -> pd.DataFrame:
    """Return the rows of ``segments.csv``: how well each body sensor's clock, axes and heading are known in each run."""
    import pandas as pd

    rows: list[dict[str, Any]] = []
    for run, body in runs.items():
        for place, segment in body.segments.items():
            fitting = segment.fitting
            rows.append(
                {
                    "run": run,
                    "place": place,
                    "clock_sd_s": segment.clock.sd_s,
                    "upright": fitting.upright,
                    "forward_sd_deg": finite(np.degrees(fitting.forward_sd_rad)),
                    "movements": fitting.movements,
                    "heading_sd_deg": finite(np.degrees(segment.heading_sd_rad)),
                    "problem": fitting.problem,
                }
            )
        rows += [{"run": run, "place": place, "problem": problem} for place, problem in body.problems.items()]
    return pd.DataFrame(rows, columns=SEGMENT_COLUMNS)


def finite(value: float) -> float:
    """Return a number, NaN for one that is not finite."""
    return float(value) if np.isfinite(value) else float("nan")


def body_notes(body: Body | None) -> tuple[str, ...]:
    """Say what of the body could not be used, and why."""
    if body is None:
        return ()
    told = list(body.problems.values())
    unfitted, astray = [], []
    for place, segment in body.segments.items():
        known, needed = known_of(segment), NEEDED[NAMES.get(kind_of(place), kind_of(place))]
        if segment.fitting.problem:
            told.append(f"{place}: {segment.fitting.problem}: what needs its axes stays empty")
        elif lacks(replace(known, heading=True), needed):
            unfitted.append(place)
        if not segment.heading_sd_rad < WORST_HEADING_RAD:
            astray.append(place)
    if unfitted:
        told.append(
            f"{', '.join(unfitted)}: no standing straight and squats show how they sit: what needs their axes stays empty; "
            "record both as [[movements]]"
        )
    if astray:
        told.append(
            f"{', '.join(astray)}: which way they face is not known: what lies in the lane stays empty"
        )
    return tuple(told)
