"""The check of sensors on the day: a session, or single files, through every check; and whether to keep a run."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from imustride.calibration import local_gravity_m_s2
from imustride.checking.limits import CheckLimits
from imustride.checking.view import BodyFacts
from imustride.constants import PLACES, SKATES
from imustride.errors import FileFormatError, SettingsError
from imustride.fitting_files import look
from imustride.loaders import open_session
from imustride.movements import shown_by
from imustride.pipeline import read_gate_times
from imustride.quality.judging import SWAPPED
from imustride.registry import methods
from imustride.results import CheckLine, CheckReport, RunAdvice
from imustride.session import declared, read_toml
from imustride.session_checks import split_group
from imustride.settings import Settings
from imustride.surveying import LongLog

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from imustride.checking.view import Outcome, RecordingView
    from imustride.fitting_views import Kind, Looked
    from imustride.reading import Read
    from imustride.registry import Check
    from imustride.session import Movement, Run, Session

FITTING = "fitting"
# What the analysis says of the same fault in its own words.
SAID_BY_ANALYSIS = {"turned": "turned in its mount", "clipping": "cut off", "gaps": "gaps take"}
# Keys of a session file that say nothing of how files are read.
NOT_OF_FILES = ("athlete", "date", "surface", "protocol", "consent", "conditions", "runs", "movements")


def check_session(
    folder: Path, run: str | None = None, *, fitting: bool = False, limits: CheckLimits | None = None
) -> CheckReport:
    """Check the sensors of a session.

    Parameters
    ----------
    folder : Path
        Session folder, or the ``session.toml`` in it.
    run : str, optional
        Only this run, with advice whether to keep it.
    fitting : bool
        Only the guided form: ``[[movements]]`` of kind "fitting".
    limits : CheckLimits, optional

    Returns
    -------
    CheckReport

    Raises
    ------
    FileFormatError
        If the session file is wrong, or holds nothing to check.
    SettingsError
        If there is no run of that name.
    """
    session = open_session(folder)
    runs, movements, missing = chosen(session, run, fitting=fitting)
    limits = limits or CheckLimits()
    names: list[str] = []
    lines: list[CheckLine] = []
    advice = None
    # One recording at a time: all of an evening need not be in memory at once.
    for looked in looked_at(session, runs, movements):
        names.append(looked.view.name)
        lines += checked([looked.view], devices(session), limits)
        if run is not None:
            advice = advised(looked, lines, read_gate_times(session, runs[0])[1])
    return CheckReport(
        session.folder.resolve().name, facts(session), tuple(names), missing, tuple(lines), advice
    )


def looked_at(session: Session, runs: Iterable[Run], movements: Iterable[Movement]) -> Iterator[Looked]:
    """Look at one recording of a session after the other."""
    settings = Settings()
    gravity = local_gravity_m_s2(session.latitude_deg)
    read: Read = {}
    body = body_facts(session, settings, read)
    for movement in movements:
        name, kind = named(movement)
        found = sources(session, movement)
        yield look(name, kind, found, gravity, session.date, settings, movement, body, read)
    for run in runs:
        found = sources(session, run)
        yield look(run.name, "run", found, gravity, session.date, settings, run, body, read)


def check_files(
    files: Mapping[str, Path], columns: Path, *, fitting: bool = False, limits: CheckLimits | None = None
) -> CheckReport:
    """Check files that belong to no session yet.

    Parameters
    ----------
    files : mapping of place to Path
    columns : Path
        TOML file that says how they are read: a ``session.toml``, or its ``[columns]``, ``[units]`` and ``[[sensors]]``.
    fitting : bool
        The files hold the guided form, not a run.
    limits : CheckLimits, optional

    Raises
    ------
    FileFormatError
        If the TOML file is wrong.
    SettingsError
        If a place is unknown.
    """
    unknown = [place for place in files if place not in PLACES]
    if unknown:
        message = f"{unknown[0]}: no such place; wanted PLACE=FILE with a place of {', '.join(PLACES)}"
        raise SettingsError(message)
    session = session_of_files(files, columns)
    gravity = local_gravity_m_s2(session.latitude_deg)
    found = {}
    for place, written in files.items():
        path, group = split_group(written.as_posix())
        sensor = session.sensor(place)
        found[place] = LongLog(type(written)(path), group, sensor, session.calibration_path(sensor))
    looked = look("files", "fitting" if fitting else "run", found, gravity, None, Settings())
    lines = checked([looked.view], devices(session), limits or CheckLimits())
    names = {place: path.name for place, path in files.items()}
    return CheckReport("files", names, (looked.view.name,), (), lines)


def session_of_files(files: Mapping[str, Path], columns: Path) -> Session:
    """Make a session of what a TOML file says about columns, units and sensors."""
    where = f"{columns.resolve().parent.name}/{columns.name}"
    raw = read_toml(columns, where, "a .toml file with [columns] and [units]; correct --columns")
    content = {key: value for key, value in raw.items() if key not in NOT_OF_FILES}
    told = content.get("sensors")
    known = (
        {entry.get("place"): entry for entry in told or [] if isinstance(entry, dict)}
        if isinstance(told, list)
        else {}
    )
    content["sensors"] = [known.get(place, {"place": place}) for place in files]
    run = {"name": "files", "files": {place: f"{place}.csv" for place in files}}
    outline: dict[str, Any] = {
        "athlete": "FILES",
        "date": dt.date(1, 1, 1),
        "surface": "ice",
        "protocol": "check",
    }
    return declared({**content, **outline, "runs": [run]}, columns.parent, where)


def chosen(
    session: Session, run: str | None, *, fitting: bool
) -> tuple[list[Run], list[Movement], tuple[str, ...]]:
    """Choose what to look at; also name the runs of which no file is there yet."""
    where = f"{session.folder.resolve().name}/session.toml"
    if fitting:
        movements = [movement for movement in session.movements if movement.kind == FITTING]
        if not movements:
            message = (
                f'{where}: no [[movements]] of kind "{FITTING}"; wanted the files of the guided form there; '
                "add them, or give the files"
            )
            raise FileFormatError(message)
        return [], movements, ()
    if run is not None:
        named = [one for one in session.runs if one.name == run]
        if not named:
            message = f"--run: found {run!r}, wanted one of {', '.join(one.name for one in session.runs)}"
            raise SettingsError(message)
        return named, [], ()
    runs = [one for one in session.runs if recorded(session, one)]
    movements = [movement for movement in session.movements if recorded(session, movement)]
    if not runs and not movements:
        message = (
            f"{where}: no file of any run is there yet; copy the files of at least one run into the folder"
        )
        raise FileFormatError(message)
    missing = [movement.name for movement in session.movements if movement not in movements]
    return runs, movements, (*missing, *(one.name for one in session.runs if one not in runs))


def named(movement: Movement) -> tuple[str, Kind]:
    """Return how a recording of movements is called, and whether it is the guided form."""
    return (FITTING, "fitting") if movement.kind == FITTING else (movement.name, "movements")


def body_facts(session: Session, settings: Settings, read: Read) -> dict[str, BodyFacts]:
    """Return what the movements of a session say of each sensor that is not on a skate."""
    facts = {}
    there = [movement for movement in session.movements if recorded(session, movement)]
    recording = session.model_copy(update={"movements": tuple(there)})
    for sensor in session.sensors:
        if sensor.place not in SKATES:
            fitting, problems = shown_by(recording, sensor.place, settings, read)
            facts[str(sensor.place)] = BodyFacts(
                any(sensor.place in movement.files for movement in there), fitting, "; ".join(problems)
            )
    return facts


def recorded(session: Session, entry: Run | Movement) -> bool:
    """Whether at least one file of a recording is there."""
    return any(session.path(split_group(written)[0]).is_file() for written in entry.files.values())


def sources(session: Session, entry: Run | Movement) -> dict[str, LongLog]:
    """Return the files of a recording in the order of the session's sensors."""
    files = {str(place): written for place, written in entry.files.items()}
    found = {}
    for sensor in session.sensors:
        if sensor.place in files:
            file, group = split_group(files[sensor.place])
            found[str(sensor.place)] = LongLog(
                session.path(file), group, sensor, session.calibration_path(sensor)
            )
    return found


def devices(session: Session) -> dict[str, str]:
    """Return the device worn at each place."""
    return {str(sensor.place): sensor.device for sensor in session.sensors}


def facts(session: Session) -> dict[str, str]:
    """Return what a record of the check says of the session."""
    worn = ", ".join(f"{place} {device}" for place, device in devices(session).items())
    return {
        "athlete": session.athlete,
        "date": str(session.date),
        "surface": session.surface,
        "protocol": session.protocol,
        "sensors": worn,
    }


def checked(
    views: Iterable[RecordingView], worn: Mapping[str, str], limits: CheckLimits
) -> tuple[CheckLine, ...]:
    """Put every recording through every check, in the order of the checks."""
    found: list[Check] = sorted(methods("checking").values(), key=lambda check: int(check.order))
    lines = []
    for view in views:
        for check in found:
            for where, outcome in outcomes(check, view, limits):
                lines.append(line(check, view.name, where, worn.get(where, ""), outcome))
    return tuple(lines)


def outcomes(check: Check, view: RecordingView, limits: CheckLimits) -> list[tuple[str, Outcome]]:
    """Apply one check to one recording; name where each outcome belongs."""
    if check.of == "sensor":
        said = [(place, check.judge(sensor, limits)) for place, sensor in view.sensors.items()]
        return [(place, outcome) for place, outcome in said if outcome is not None]
    outcome = check.judge(view, limits)
    if outcome is None:
        return []
    several = list(outcome) if not hasattr(outcome, "verdict") else [outcome]
    return [(one.where or "both skates", one) for one in several]


def line(check: Check, recording: str, where: str, device: str, outcome: Outcome) -> CheckLine:
    """Return what is told of one outcome."""
    return CheckLine(
        check.name, check.title, recording, where, device, outcome.verdict, outcome.measured, outcome.limit,
        outcome.advice, outcome.value, outcome.unit, outcome.strain, check.source,
        "declaring" if outcome.by_declaring else check.mended_by,
    )  # fmt: skip


def advised(looked: Looked, lines: Sequence[CheckLine], gate_problems: Sequence[str]) -> RunAdvice:
    """Say whether one run can be kept."""
    result, failed = looked.result, [line for line in lines if line.verdict == "fail"]
    reason = "" if result is None else result.reason.replace(SWAPPED, "").strip("; ")
    correct = [told(line) for line in failed if line.mended_by == "declaring"] + list(gate_problems)
    because = [
        told(line)
        for line in failed
        if line.mended_by == "recording"
        and not (line.check in SAID_BY_ANALYSIS and SAID_BY_ANALYSIS[line.check] in reason)
    ]
    # What the analysis holds against a run may come from what must be corrected first.
    undecided = bool(correct) and (result is None or bool(looked.view.problems) or bool(reason))
    if reason and (because or not undecided):
        because.insert(0, reason)
    return RunAdvice(
        looked.view.name,
        "repeat" if because else "correct first" if undecided else "keep",
        tuple(because),
        tuple(correct),
        tuple(
            dict.fromkeys(
                f"{line.title}, {line.where}: {line.measured}" for line in lines if line.verdict == "warn"
            )
        ),
    )


def told(line: CheckLine) -> str:
    """Return a line of a table as a sentence."""
    return f"{line.title}, {line.where}: {line.measured}" + (f"; {line.advice}" if line.advice else "")
