"""What the checks of sensors look at: the run found in the recordings, blows, clocks, edges."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from imustride.body_run import Worn
from imustride.calibration import apply, read_calibration
from imustride.checking.view import BodyFacts, CalibrationFacts, RecordingView, SensorView
from imustride.constants import SIDES, SKATES
from imustride.cutting.stance import cut
from imustride.errors import CalibrationError, SignalQualityError
from imustride.inspection import estimate_bandwidth_hz
from imustride.inspection.findings import signal_findings
from imustride.inspection.signals import at_rest
from imustride.loaders import regularise
from imustride.orientation.carried import gravity_carried_deg
from imustride.quality.mounting import stop_tilt_deg
from imustride.quality.sides import sides_told
from imustride.reading import undelayed
from imustride.runs import analyse_recordings, end_in_motion_s, move
from imustride.synchronisation.shared import nothing, shared_shocks
from imustride.synchronisation.shocks import find_shocks

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray

    from imustride.kinematics import Cut, SharedShocks
    from imustride.recording import Recording, SensorLog
    from imustride.results import RunResult
    from imustride.settings import Settings

Told = Literal["as declared", "contradicts", "cannot tell"]
Kind = Literal["run", "fitting", "movements"]


@dataclass(frozen=True, eq=False, slots=True)
class Looked:
    """A recording as the checks see it; `result` is None where nobody skated or nothing could be analysed."""

    view: RecordingView
    result: RunResult | None


def seen(
    name: str,
    kind: Kind,
    views: dict[str, SensorView],
    problems: Mapping[str, str],
    settings: Settings,
) -> Looked:
    """Look at sensors together; see `look`."""
    if kind == "run":
        views = {place: with_cut(view, settings) for place, view in views.items()}
    views = {place: with_blows(view, kind, settings) for place, view in views.items()}
    result = analysed(name, views, settings) if kind == "run" else None
    if result is not None:
        views = {place: with_result(place, view, result, settings) for place, view in views.items()}
    shared = shared_of(views, kind, settings)
    view = RecordingView(
        name, kind, views, problems, shared, moving_at_end(result), ends_s(views, shared, result),
        sides_of(result, settings),
    )  # fmt: skip
    return Looked(view, result)


def sensor_view(
    log: SensorLog, calibrated_by: Path | None, gravity_m_s2: float, day: dt.date | None
) -> SensorView:
    """Look at one sensor by itself.

    Parameters
    ----------
    log : SensorLog
    calibrated_by : Path or None
        Calibration file, where one is declared.
    gravity_m_s2 : float
        Local gravity [m/s^2].
    day : datetime.date or None

    Raises
    ------
    SignalQualityError
        If it cannot be sampled.
    CalibrationError
        If counts have no scale, since their calibration cannot be used.
    """
    recording = regularise(log)
    facts = CalibrationFacts(declared=calibrated_by is not None)
    if calibrated_by is not None:
        try:
            calibration = read_calibration(calibrated_by)
            facts = replace(facts, date=calibration.date)
            recording = apply(recording, calibration)
        except CalibrationError as error:
            if "counts" in {log.sensor.units.acceleration, log.sensor.units.angular_velocity}:
                raise
            facts = replace(facts, problem=str(error))
    is_calibrated = facts.declared and not facts.problem
    found = signal_findings(recording, gravity_m_s2, is_calibrated=is_calibrated)
    return SensorView(
        recording,
        gravity_m_s2,
        day,
        facts,
        at_rest(recording),
        estimate_bandwidth_hz(recording),
        {finding.about: finding.text for finding in found if finding.level == "error"},
        cut=None,
        cut_problem="",
        blows_s=np.empty(0),
        dead_axes=dead_axes(log),
        digest=digest(log.acceleration_m_s2, log.angular_velocity_rad_s),
    )


def dead_axes(log: SensorLog) -> tuple[str, ...]:
    """Name the axes that hold one value throughout."""
    triads = (("acceleration", log.acceleration_m_s2), ("angular velocity", log.angular_velocity_rad_s))
    return tuple(
        f"{what} {name}"
        for what, values in triads
        for name, axis in zip("xyz", values.T, strict=True)
        if np.fmin.reduce(axis) == np.fmax.reduce(axis)
    )


def digest(*arrays: NDArray[np.float64]) -> str:
    """Fingerprint of samples, whatever the file around them."""
    found = hashlib.sha256()
    for array in arrays:
        found.update(np.ascontiguousarray(array).tobytes())
    return found.hexdigest()


def with_cut(view: SensorView, settings: Settings) -> SensorView:
    """Find the run in one sensor's recording, or say why it is not there."""
    try:
        return replace(view, cut=cut(view.recording, settings.stance))
    except SignalQualityError as error:
        return replace(view, cut_problem=str(error))


def with_blows(view: SensorView, kind: str, settings: Settings) -> SensorView:
    """Find the sharp blows while nobody skates."""
    if kind == "movements" or (kind == "run" and view.cut is None):
        return view
    span = nothing(view.recording) if view.cut is None else view.cut.motion_s
    return replace(view, blows_s=find_shocks(view.recording, span, settings.shocks)[:, 0])


def analysed(name: str, views: Mapping[str, SensorView], settings: Settings) -> RunResult | None:
    """Analyse the run; None where no skate can be, or a unit must be corrected first."""
    needed = {place for place in views if place in SKATES or place == next(iter(views))}
    if not needed or any(views[place].unit_faults for place in needed):
        return None
    recordings = {
        place: undelayed(view.recording)
        for place, view in views.items()
        if place in needed or not view.unit_faults
    }
    fittings = {place: view.body.fitting for place, view in views.items()}
    worn = Worn({place: fitting for place, fitting in fittings.items() if fitting is not None})
    return analyse_recordings(name, recordings, settings, worn=worn)


def with_result(place: str, view: SensorView, result: RunResult, settings: Settings) -> SensorView:
    """Add what the analysis found about how one sensor sits."""
    if not view.on_skate:
        return replace(view, body=in_run(place, view.body, result))
    skate = result.kinematics.get(place.removesuffix("_skate"))
    if skate is None:
        return view
    carried = None
    if skate.cut.stop_s is not None:
        carried = gravity_carried_deg(view.recording, skate.cut.stance_s, skate.cut.stop_s)
    return replace(
        view,
        turned_deg=stop_tilt_deg(skate),
        gravity_turned_deg=carried,
        axes_off_deg=forward_off_deg(view.recording, skate.cut, settings),
    )


def in_run(place: str, body: BodyFacts, result: RunResult) -> BodyFacts:
    """Add what the analysis of a run found of a sensor that is not on a skate."""
    if result.segments is None:
        return body
    if place in result.segments.problems:
        problem = result.segments.problems[place].removeprefix(f"{place}: ")
        return replace(body, in_run=True, run_problem=problem)
    if place not in result.segments.segments:
        return body
    segment = result.segments.segments[place]
    of_fitting = "" if body.fitting is None else body.fitting.problem
    return replace(
        body,
        in_run=True,
        place_problem="" if segment.fitting.problem == of_fitting else segment.fitting.problem,
        clock_sd_s=segment.clock.sd_s,
        heading_sd_deg=float(np.degrees(segment.heading_sd_rad)),
    )


def forward_off_deg(recording: Recording, cut_: Cut, settings: Settings) -> float | None:
    """How far the declared forward axis lies from where the skate runs, found without it [deg]; None: not declared."""
    axes = recording.sensor.axes
    if axes is None:
        return None
    bare = replace(recording, sensor=recording.sensor.model_copy(update={"axes": None}))
    found = move(bare, cut_, settings)
    # The alignment is one rotation for all samples.
    turn = np.linalg.lstsq(recording.angular_velocity_rad_s, found.angular_velocity_rad_s, rcond=None)[0]
    along = turn["xyz".index(axes[0][1])] * (1.0 if axes[0][0] == "+" else -1.0)
    return float(np.degrees(np.abs(np.arctan2(along[1], along[0]))))


def shared_of(views: Mapping[str, SensorView], kind: str, settings: Settings) -> SharedShocks | None:
    """Find the shocks that both skates felt; None where there are not two skates with a run."""
    if kind == "movements" or not set(SKATES) <= set(views):
        return None
    one, other = (views[place] for place in SKATES)
    cuts: tuple[Cut, Cut] | None = None
    if kind == "run":
        if one.cut is None or other.cut is None:
            return None
        cuts = one.cut, other.cut
    return shared_shocks(one.recording, other.recording, cuts, settings.shocks)


def moving_at_end(result: RunResult | None) -> dict[str, str]:
    """Name the skates that still move when their log ends, and what they do."""
    if result is None:
        return {}
    cut_off = result.pushes.loc[result.pushes["flags"].str.contains("log_end", regex=False), "side"]
    return {
        f"{side}_skate": "pushing" if side in set(cut_off) else "gliding"
        for side, skate in result.kinematics.items()
        if np.isfinite(end_in_motion_s(skate))
    }


def ends_s(
    views: Mapping[str, SensorView], shared: SharedShocks | None, result: RunResult | None
) -> dict[str, float]:
    """End of each log on the left skate's clock [s]; empty where the clocks of the skates are not joined."""
    if shared is None or not np.isfinite(shared.offset_s):
        return {}
    shifts = zip(SKATES, (0.0, shared.offset_s), strict=True)
    ends = {place: end_of(views[place].recording) + shift_s for place, shift_s in shifts}
    if result is not None and result.segments is not None and "left" in result.clocks:
        left = result.clocks["left"]
        for place, segment in result.segments.segments.items():
            ends[place] = float(left.own(segment.time_s[-1:])[0])
    return ends


def end_of(recording: Recording) -> float:
    """Time of the last sample on the own clock [s]."""
    return recording.start_s + (len(recording.measured) - 1) / recording.rate_hz


def sides_of(result: RunResult | None, settings: Settings) -> Told:
    """Say whether the edges of the pushes fit the declared sides."""
    if result is None or set(result.kinematics) != set(SIDES):
        return "cannot tell"
    if result.swapped:
        return "contradicts"
    off_s = {}
    for side in SIDES:
        at_s = result.pushes.loc[result.pushes["side"] == side, "blade_off_s"].to_numpy(dtype=np.float64)
        off_s[side] = result.clocks[side].own(at_s)
    said = set(sides_told(result.kinematics, off_s, settings.quality.sides).values())
    return "as declared" if said == {"as declared"} else "cannot tell"
