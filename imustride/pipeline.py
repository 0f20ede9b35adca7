"""The stages joined: load, cut, calibrate, synchronise, orient, align, segment, measure, judge, compare, report."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Any

from imustride.constants import SIDES, SKATES
from imustride.errors import ImustrideError, SignalQualityError
from imustride.kinematics import Gates
from imustride.loaders.sampling import regularise
from imustride.metrics.columns import no_pushes, push_columns
from imustride.movements import worn_in
from imustride.reading import Read, read_recordings, told, undelayed
from imustride.registry import methods
from imustride.results import RunResult, SessionResult
from imustride.runs import analyse_recordings, flag_unread, move, stop_slice
from imustride.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    import pandas as pd

    from imustride.body_run import Worn
    from imustride.metrics.symmetry import SmallestDifference
    from imustride.recording import SensorLog
    from imustride.report.files import Page
    from imustride.report.index import Line
    from imustride.session import Run, Session

__all__ = [
    "Settings",
    "analyse_logs",
    "analyse_opened",
    "analyse_recordings",
    "analyse_session",
    "move",
    "simulate",
    "simulate_season",
    "stop_slice",
    "undelayed",
    "write_index",
    "write_session",
]

SIMULATED_ON = dt.date(2026, 10, 3)
SIMULATED_RATE_HZ = 250.0
SIMULATED_BIRTH_YEAR = 2011
SPOILED_RUN = 3
# Farther back nobody starts a sprint through gates (common practice, no source).
FARTHEST_BEHIND_M = 5.0
SWAPPED_REMEDY = "exchange the files, or the places of the sensors, in session.toml; these runs do not count"


def analyse_session(folder: Path, settings: Settings | None = None) -> SessionResult:
    """Analyse every run of a session folder.

    Parameters
    ----------
    folder : Path
        Session folder, or the ``session.toml`` in it, or a Motion-BIDS dataset.
    settings : Settings, optional

    Returns
    -------
    SessionResult
        A run that could not be read or used carries the reason; the others stand.

    Raises
    ------
    FileFormatError
        If the session file cannot be read or is wrong.
    """
    from imustride.loaders import open_session

    return analyse_opened(open_session(folder), settings)


def analyse_opened(session: Session, settings: Settings | None = None) -> SessionResult:
    """Analyse every run of a session that was read; see `analyse_session`."""
    import pandas as pd

    from imustride.body_run import segments_table
    from imustride.exporting.provenance import provenance

    settings = settings or Settings()
    read: Read = {}
    worn, problems = worn_in(session, settings, read)
    runs = tuple(analyse_run(session, run, settings, read, worn) for run in session.runs)
    pushes = pd.concat([run.pushes for run in runs], ignore_index=True)
    bodies = {run.name: run.segments for run in runs if run.segments is not None}
    return SessionResult(
        session,
        runs,
        pushes,
        runs_table(runs),
        compare(session, runs, pushes, settings),
        provenance(session, asdict(settings)),
        (*session_notes(session, runs), *problems),
        segments_table(bodies) if bodies else None,
        problems,
    )


def analyse_run(
    session: Session, run: Run, settings: Settings, read: Read | None = None, worn: Worn | None = None
) -> RunResult:
    """Read and analyse one run of a session; whatever goes wrong is told in its result.

    Parameters
    ----------
    session : Session
    run : Run
    settings : Settings
    read : dict, optional
        As in `read_recordings`.
    worn : Worn, optional
        How sensors sit on the rest of the body.
    """
    gates, gate_problems = read_gate_times(session, run)
    try:
        recordings, problems = read_recordings(session, run, read)
        found = analyse_recordings(run.name, recordings, settings, gates, worn) if recordings else None
    except SignalQualityError as error:
        return nothing(run.name, str(error), gates=gates, problems=gate_problems)
    if found is None:
        reason = "; ".join(problems) or "no skate was recorded"
        return nothing(
            run.name, reason, gates=gates, problems=(*problems, *gate_problems), readable=not problems
        )
    unread = [place for place in run.files if place not in recordings]
    flag_unread(found.pushes, unread)
    if any(place in SKATES for place in unread):
        found = replace(found, usable=False, reason="; ".join((*problems, *filter(None, (found.reason,)))))
    return replace(found, problems=(*problems, *gate_problems))


def analyse_logs(
    name: str,
    logs: Mapping[str, SensorLog],
    settings: Settings | None = None,
    gates: Gates | None = None,
    worn: Worn | None = None,
) -> RunResult:
    """Analyse one run from logs in memory; see `analyse_recordings`."""
    recordings = {place: undelayed(regularise(log)) for place, log in logs.items()}
    return analyse_recordings(name, recordings, settings, gates, worn)


def nothing(name: str, reason: str, **rest: Any) -> RunResult:
    """Return the result of a run in which nothing could be analysed."""
    return RunResult(name, no_pushes(), {}, {}, usable=False, reason=reason, **rest)


def read_gate_times(session: Session, run: Run) -> tuple[Gates | None, tuple[str, ...]]:
    """Read the gates of a run, if there are any; also what went wrong with them."""
    from imustride.loaders import read_gates

    if run.gates is None:
        return None, ()
    try:
        position_m, time_s = read_gates(session.path(run.gates))
    except (ImustrideError, OSError) as error:
        return None, (told(error),)
    return Gates(position_m, time_s, start_behind_m(session)), ()


def start_behind_m(session: Session) -> float | None:
    """How far behind the first gate the athlete stood [m]; None where nobody said, or said what cannot be."""
    behind = session.conditions.get("start_behind_m")
    if isinstance(behind, bool) or not isinstance(behind, (int, float)):
        return None
    return float(behind) if 0 <= behind <= FARTHEST_BEHIND_M else None


def session_notes(session: Session, runs: Sequence[RunResult]) -> tuple[str, ...]:
    """Say what concerns the session as a whole: files or places exchanged, a start line that cannot be."""
    swapped = [run.name for run in runs if run.swapped]
    notes = [f"LEFT AND RIGHT ARE SWAPPED in {', '.join(swapped)}: {SWAPPED_REMEDY}"] if swapped else []
    said = session.conditions.get("start_behind_m")
    if said is not None and start_behind_m(session) is None:
        notes.append(
            f"session.toml, conditions.start_behind_m: found {said!r}; wanted a number of metres from 0 to "
            f"{FARTHEST_BEHIND_M:g} behind the first gate; it was not used; correct it or remove it"
        )
    return tuple(notes)


def runs_table(runs: Sequence[RunResult]) -> pd.DataFrame:
    """Return the rows of ``runs.csv``."""
    from imustride.metrics.runs import run_row, run_table

    return run_table(
        [
            run_row(
                run.name,
                run.clock,
                run.pushes,
                run.gates,
                usable=run.usable,
                reason=run.reason,
                body=run.body,
            )
            for run in runs
        ]
    )


def compare(
    session: Session,
    runs: Sequence[RunResult],
    pushes: pd.DataFrame,
    settings: Settings,
    smallest: Mapping[str | tuple[str, str], SmallestDifference] | None = None,
) -> pd.DataFrame:
    """Return the rows of ``symmetry.csv``; `smallest` as in `metrics.symmetry.symmetry_table`."""
    from imustride.metrics.symmetry import MetricSymmetry, symmetry_table
    from imustride.metrics.systematic import FootError, systematic_parts

    metrics = methods("metrics")
    how = {
        name: MetricSymmetry(metrics[name].symmetry, metrics[name].unit)
        for name in push_columns()
        if name in metrics
    }
    usable = [run for run in runs if run.usable]
    calibrated = {sensor.place for sensor in session.sensors if sensor.calibration is not None}
    feet = {
        side: FootError(
            f"{side}_skate" in calibrated,
            min((run.kinematics[side].rate_hz for run in usable if side in run.kinematics), default=0.0),
            [run.kinematics[side].forward_sd_rad for run in usable if side in run.kinematics],
        )
        for side in SIDES
    }
    clock_sd_s = [max(clock.sd_s for clock in run.clocks.values()) for run in usable]
    lane_sd_rad = [max(path.lane_sd_rad for path in run.paths.values()) for run in usable if run.paths]
    parts = systematic_parts(feet, clock_sd_s, lane_sd_rad, settings.systematic)
    return symmetry_table(pushes, {run.name for run in usable}, how, parts, smallest)


def write_session(result: SessionResult, out: Path, page: Page | None = None) -> None:
    """Write the results of a session, its page included, as one folder, whole or not at all.

    Parameters
    ----------
    result : SessionResult
    out : Path
    page : Page, optional
        How the page is written, and what beside it; the tables are the same for all.

    Raises
    ------
    SettingsError
        If `out` is there and is not a results folder, or what makes the PDF is missing.
    OSError
        If the folder cannot be written.
    """
    from imustride.exporting import write_results
    from imustride.report.files import Page, page_files

    page = page or Page()
    write_results(result, out, page_files(result, page), asdict(page))


def write_index(lines: Sequence[Line], out: Path, language: str = "en") -> None:
    """Write ``index.html``, the list of a day's pages, whole or not at all.

    Raises
    ------
    SettingsError
        If there is another file of that name.
    OSError
        If it cannot be written.
    """
    from imustride.exporting.swap import write_whole
    from imustride.report.index import INDEX, check_index, index_page

    check_index(out)
    write_whole(out / INDEX, index_page(lines, language))


def simulate(out: Path, runs: int = 4, seed: int = 1, *, body: bool = False) -> None:
    """Write a session folder of an invented athlete; the third run is spoiled by a stumble.

    With `body` sensors are worn on the whole body, not on the skates alone.
    """
    from imustride.simulation import simulate_session
    from imustride.simulation import write_session as write_simulated

    spoiled = (SPOILED_RUN,) if runs >= SPOILED_RUN else ()
    simulated = simulate_session(seed, runs, "good", spoiled=spoiled, body=body, rate_hz=SIMULATED_RATE_HZ)
    write_simulated(out, simulated, athlete=f"Q{seed % 100:02d}", date=SIMULATED_ON)


def simulate_season(out: Path, athletes: int = 4, sessions: int = 8, runs: int = 2, seed: int = 1) -> None:
    """Write the session folders of an invented season, and ``season.csv`` with what truly changed."""
    import pandas as pd

    from imustride.simulation import write_session as write_simulated
    from imustride.simulation.season import simulate_season as simulated_sessions

    truth = []
    for one in simulated_sessions(seed, athletes, sessions, runs):
        name = f"{one.athlete}-{one.date}"
        write_simulated(
            out / name,
            one.runs,
            one.athlete,
            one.date,
            conditions=one.conditions,
            birth_year=SIMULATED_BIRTH_YEAR,
        )
        truth.append(
            {
                "athlete": one.athlete,
                "date": one.date,
                "session": name,
                "push_off_angular_velocity_percent": one.push_off_angular_velocity_percent,
                "contact_asymmetry_points": one.contact_asymmetry_points,
            }
        )
    pd.DataFrame(truth).to_csv(out / "season.csv", index=False, lineterminator="\n", encoding="utf-8")
