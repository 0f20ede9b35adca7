"""Sessions in open formats: every recording read as it is analysed, written by the exporting stage."""

from __future__ import annotations

import shutil
import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from imustride.errors import FileFormatError, ImustrideError, SettingsError, SignalQualityError
from imustride.exporting import c3d, motion_bids, parquet
from imustride.exporting.declaring import sensor_declared, session_declared
from imustride.exporting.digests import sha256
from imustride.exporting.results_folder import verify
from imustride.exporting.swap import repair, swapped_in
from imustride.loaders import load, open_session, read_gates, regularise
from imustride.pipeline import analyse_session, write_session
from imustride.preparing.session_text import gates_text, toml_text
from imustride.reading import is_cut, told

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterator, Mapping

    from imustride.recording import SensorLog
    from imustride.session import Movement, Place, Run, Session


def export_bids(
    folder: Path, out: Path, results: Path | None = None, *, dry_run: bool = False
) -> tuple[str, ...]:
    """Write a session and its results as a Motion-BIDS dataset, whole or not at all.

    Parameters
    ----------
    folder : Path
        Session folder.
    out : Path
        Folder to make.
    results : Path, optional
        Of the same session; without it the session is analysed.
    dry_run : bool
        Do everything, and leave nothing at `out`.

    Returns
    -------
    tuple of str
        One line for each file that could not be read, and is not in the dataset.

    Raises
    ------
    FileFormatError
        If the session cannot be read, or the results were changed or come of other files.
    SettingsError
        If there is something at `out`.
    OSError
        If the dataset cannot be written.
    """
    out = out.resolve()
    check_new(out)
    session = open_session(folder)
    problems: list[str] = []
    with _target(out, dry_run=dry_run) as partial:
        place = partial / motion_bids.results_place(session)
        if results is None:
            write_session(analyse_session(folder), place)
        else:
            _check_same(session, results)
            shutil.copytree(results, place)
        gated = []
        for number, run in enumerate(session.runs, 1):
            gates = _gates(session, run, problems)
            motion_bids.write_events(partial, session, number, run, gates)
            gated += [] if gates is None else [run.name]
        motion_bids.write_dataset(partial, session, _recorded(session, gated, problems))
    return tuple(problems)


def export_parquet(folder: Path, out: Path, *, dry_run: bool = False) -> tuple[str, ...]:
    """Write a session folder whose logs are Parquet, and the tables of its results.

    Logs hold what was logged, to the last bit, in SI units (counts stay counts). See `export_c3d` for the rest.
    """
    parquet.check_ready()

    def write(path: Path, log: SensorLog) -> dict[str, Any]:
        parquet.write_signals(path, log)
        acceleration, angular_velocity = parquet.signal_names(log)
        names = {"acceleration": acceleration, "angular_velocity": angular_velocity}
        return {"columns": {"time": parquet.TIME, **names}, "units": {"time": "s", **_units(log)}}

    def write_tables(partial: Path) -> None:
        result = analyse_session(folder)
        tables = {"pushes": result.pushes, "runs": result.runs_table, "symmetry": result.symmetry}
        (partial / "results").mkdir()
        for name, table in (*tables.items(), ("segments", result.segments)):
            if table is not None:
                parquet.write_plain(partial / "results" / f"{name}.parquet", table)

    return _export_folder(folder, out, ".parquet", write, write_tables, dry_run=dry_run)


def export_c3d(folder: Path, out: Path, *, dry_run: bool = False) -> tuple[str, ...]:
    """Write a session folder whose logs are C3D: sampled evenly, lost samples marked, in SI units (counts stay counts).

    Parameters
    ----------
    folder : Path
        Session folder.
    out : Path
        Folder to make.
    dry_run : bool
        Do everything, and leave nothing at `out`.

    Returns
    -------
    tuple of str
        One line for each file that could not be read or represented, and is not there.

    Raises
    ------
    FileFormatError
        If the session cannot be read, or none of its files.
    SettingsError
        If there is something at `out`, or what writes the format is not installed.
    OSError
        If the folder cannot be written.
    """
    c3d.check_ready()

    def write(path: Path, log: SensorLog) -> dict[str, Any]:
        recording = regularise(log)
        c3d.write_c3d(path, recording)
        names = {"acceleration": c3d.ACCELERATION, "angular_velocity": c3d.ANGULAR_VELOCITY}
        return {"columns": names, "units": _units(log), "rate_hz": round(recording.rate_hz, 3)}

    return _export_folder(folder, out, ".c3d", write, dry_run=dry_run)


def _export_folder(
    folder: Path,
    out: Path,
    ending: str,
    write: Callable[[Path, SensorLog], dict[str, Any]],
    finish: Callable[[Path], None] | None = None,
    *,
    dry_run: bool,
) -> tuple[str, ...]:
    """Write a session folder with every log in another format; `write` tells how ``session.toml`` declares it."""
    out = out.resolve()
    check_new(out)
    session = open_session(folder)
    problems: list[str] = []
    with _target(out, dry_run=dry_run) as partial:
        files: dict[tuple[str, str], str] = {}
        ways: dict[str, dict[str, Any]] = {}
        for name, entry in _entries(session):
            for place, written in entry.files.items():
                if (place, written) in files:
                    continue
                path = partial / name / f"{place}{ending}"
                path.parent.mkdir(parents=True, exist_ok=True)
                log = _log(session, entry, place, problems)
                if log is None:
                    continue
                try:
                    ways[place] = write(path, log)
                except SignalQualityError as error:
                    path.unlink(missing_ok=True)
                    problems.append(f"{entry.name}: {error}")
                    continue
                files[place, written] = f"{name}/{path.name}"
        content = _content(session, partial, files, ways, problems)
        (partial / "session.toml").write_text(toml_text(content), encoding="utf-8", newline="\n")
        if finish is not None:
            finish(partial)
    return tuple(problems)


def _entries(session: Session) -> list[tuple[str, Run | Movement]]:
    """Every run and movement with the folder that its logs go to."""
    runs: list[tuple[str, Run | Movement]] = [(run.name, run) for run in session.runs]
    return [*runs, *((f"movements/{number}", moved) for number, moved in enumerate(session.movements, 1))]


def _units(log: SensorLog) -> dict[str, str]:
    units = log.sensor.units
    return {
        "acceleration": "counts" if units.acceleration == "counts" else "m/s^2",
        "angular_velocity": "counts" if units.angular_velocity == "counts" else "rad/s",
    }


def _content(
    session: Session,
    partial: Path,
    files: Mapping[tuple[str, str], str],
    ways: Mapping[str, dict[str, Any]],
    problems: list[str],
) -> dict[str, Any]:
    """Return the content of ``session.toml``; gates and calibrations are copied."""

    def moved(entry: Run | Movement) -> dict[str, str]:
        return {place: files[place, to] for place, to in entry.files.items() if (place, to) in files}

    runs: list[dict[str, Any]] = []
    for run in session.runs:
        facts: dict[str, Any] = {"name": run.name, "files": moved(run), **_span(run)}
        if facts["files"] and not _has_clock(session, run, facts["files"], problems):
            continue
        gates = _gates(session, run, problems)
        if facts["files"] and gates is not None:
            facts["gates"] = f"{run.name}/gates.csv"
            text = gates_text(tuple(zip(gates[0].tolist(), gates[1].tolist(), strict=True)))
            (partial / run.name).mkdir(exist_ok=True)
            (partial / facts["gates"]).write_text(text, encoding="utf-8", newline="\n")
        runs += [facts] if facts["files"] else []
    if not runs:
        message = f"{session.folder.name}: no run could be exported: {'; '.join(problems)}"
        raise FileFormatError(message)
    sensors = [
        {**sensor_declared(session, sensor, partial, "calibration"), **ways[sensor.place]}
        for sensor in session.sensors
        if sensor.place in ways
    ]
    movements = [
        {"kind": entry.kind, "files": moved(entry), **_span(entry)}
        for entry in session.movements
        if moved(entry) and _has_clock(session, entry, moved(entry), problems)
    ]
    content = {**session_declared(session), "date": session.date, "sensors": sensors, "runs": runs}
    return {key: value for key, value in {**content, "movements": movements}.items() if value not in ({}, [])}


def _span(entry: Run | Movement) -> dict[str, float]:
    """Return the declared span of longer logs, as far as there is one."""
    return {
        key: value for key, value in (("start_s", entry.start_s), ("end_s", entry.end_s)) if value is not None
    }


def _has_clock(session: Session, entry: Run | Movement, places: Collection[str], problems: list[str]) -> bool:
    """Tell whether the log is there on whose clock a declared span is: on another it would be another part."""
    clock = session.clock_of(entry)
    if not is_cut(entry) or clock in places:
        return True
    problems.append(
        f"{entry.name}: left out, without the log of {clock}, on whose clock start_s and end_s are"
    )
    return False


@contextmanager
def _target(out: Path, *, dry_run: bool) -> Iterator[Path]:
    """Give a folder to write to, which appears at `out` or, on a dry run, goes away again."""
    if dry_run:
        with tempfile.TemporaryDirectory() as partial:
            yield Path(partial)
        return
    with swapped_in(out) as partial_out:
        yield partial_out


def check_new(out: Path) -> None:
    """Refuse to write where something is.

    Raises
    ------
    SettingsError
        If `out` is a file or a folder with anything in it.
    """
    repair(out)
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        message = (
            f"{out}: found something there; wanted a new or empty folder; choose another or move it away"
        )
        raise SettingsError(message)


def _check_same(session: Session, results: Path) -> None:
    """Refuse results that come of other files than the session's."""
    inputs: dict[str, str] = verify(results).get("inputs", {})
    for name, wanted in inputs.items():
        path = session.folder / name
        if not path.is_file() or sha256(path) != wanted:
            message = (
                f"{results}: results of another {name} than that of the session; analyse the session again"
            )
            raise FileFormatError(message)


def _gates(session: Session, run: Run, problems: list[str]) -> Any:
    if run.gates is None:
        return None
    try:
        return read_gates(session.path(run.gates))
    except (ImustrideError, OSError) as error:
        problems.append(told(error))
        return None


def _recorded(session: Session, gated: list[str], problems: list[str]) -> Iterator[motion_bids.Recorded]:
    """Give every file once, with the runs and movements it holds; sensors in order, so that clocks come first."""
    entries: tuple[Run | Movement, ...] = (*session.runs, *session.movements)
    given: dict[Place, set[str]] = {sensor.place: set() for sensor in session.sensors}
    kept = list(entries)
    for place, written in dict.fromkeys(
        (place, entry.files[place]) for place in given for entry in entries if place in entry.files
    ):
        held = next(entry for entry in entries if entry.files.get(place) == written)
        log = _log(session, held, place, problems)
        if log is None:
            continue
        given[place].add(written)
        for entry in list(kept):
            there = [one for one, file in entry.files.items() if file in given[one]]
            if place in there and not _has_clock(session, entry, there, problems):
                kept.remove(entry)
        yield from _one(session, log, place, written, kept, gated)


def _one(
    session: Session,
    log: SensorLog,
    place: Place,
    written: str,
    kept: Collection[Run | Movement],
    gated: list[str],
) -> Iterator[motion_bids.Recorded]:
    """Tell what a file holds, and name it after the first run in it, or else the first movements."""
    runs = [
        (number, run)
        for number, run in enumerate(session.runs, 1)
        if run in kept and run.files.get(place) == written
    ]
    moved = [
        (number, one)
        for number, one in enumerate(session.movements, 1)
        if one in kept and one.files.get(place) == written
    ]
    holds: dict[str, Any] = {}
    if runs:
        holds["Runs"] = [_run_facts(session, number, run, gated) for number, run in runs]
    if moved:
        holds["Movements"] = [{"number": number, "kind": one.kind, **_span(one)} for number, one in moved]
    if holds:
        number, task = (runs[0][0], session.protocol) if runs else (moved[0][0], moved[0][1].name)
        yield motion_bids.Recorded(log, not _is_counted(log), task, number, holds)


def _is_counted(log: SensorLog) -> bool:
    """Tell whether time is nothing but samples counted at the declared rate, which is all the standard needs to know."""
    import numpy as np

    rate_hz = log.sensor.rate_hz
    return rate_hz is not None and np.array_equal(log.time_s, np.arange(len(log.time_s)) / rate_hz)


def _log(session: Session, entry: Run | Movement, place: str, problems: list[str]) -> SensorLog | None:
    """Read one file; what cannot be read is told and left out."""
    try:
        return load(session, entry, place)
    except (ImustrideError, OSError) as error:
        problems.append(f"{entry.name}: {told(error)}")
        return None


def _run_facts(session: Session, number: int, run: Run, gated: list[str]) -> dict[str, Any]:
    gates = {"gates": motion_bids.events_file(session, number)} if run.name in gated else {}
    return {"number": number, "name": run.name, **_span(run), **gates}
