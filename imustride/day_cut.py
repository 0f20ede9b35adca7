"""The day's plan with the long logs cut: which part of which log is which run, as whole logs or as pieces."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from imustride.exporting.pieces import SUFFIX, is_made_of, write_piece
from imustride.loaders.spans import samples_between
from imustride.long_logs import cut_day
from imustride.preparing.plan import Log, Piece, Plan, PlannedRun, PlannedSession
from imustride.preparing.session_text import content
from imustride.session import declared
from imustride.surveying import LongLog

if TYPE_CHECKING:
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from imustride.long_logs import CutLine, DayCut
    from imustride.preparing.kit import Kit
    from imustride.preparing.roster import Row
    from imustride.session import Session
    from imustride.surveying import Told

# Times of the cut as they are written [s]: blocks know no better.
DIGITS = 2


def cut_plan(name: str, plan: Plan, kit: Kit, out: Path, told: Told | None = None) -> tuple[Plan, DayCut]:
    """Find the runs of a plan in its logs.

    Parameters
    ----------
    name : str
        Of the list.
    plan : Plan
        Without problems; several runs may share a log.
    kit : Kit
    out : Path
        Folder of the sessions.
    told : callable, optional
        Called with a few words as the reading goes on.

    Returns
    -------
    plan : Plan
        With the runs that were found; a session without any is left out.
    cut : DayCut

    Raises
    ------
    FileFormatError
        If list and kit do not make a session.
    """
    lines = []
    for session in plan.sessions:
        folder = out.resolve() / session.name
        record = declared(
            content(session, kit, folder), folder, f"{session.name}/session.toml (from {kit.name})"
        )
        lines += [(run.row, _logs(run, record)) for run in session.runs]
    lines.sort(key=lambda line: (line[0].begin, line[0].line))
    has_seconds = any(row.begin.second for row, _ in lines)
    cut = cut_day(name, lines, told, has_seconds=has_seconds)
    logs = {row.line: mine for row, mine in lines}
    sessions = _sessions(plan, cut, logs)
    problems = [*cut.problems, *_movements(name, plan)]
    notes = (*plan.notes, *cut.notes)
    return replace(plan, sessions=sessions, notes=notes), replace(cut, problems=tuple(problems))


def _logs(run: PlannedRun, record: Session) -> dict[str, LongLog]:
    found = {}
    for place, log in run.logs.items():
        sensor = record.sensor(place)
        path = record.calibration_path(sensor)
        found[place] = LongLog(log.source, log.group, sensor, None if path is None else path.resolve())
    return found


def _movements(name: str, plan: Plan) -> list[str]:
    """Movements at the boards are told from nothing else: they need a log of their own."""
    long = {log.source for session in plan.sessions for run in session.runs for log in run.logs.values()}
    return [
        f"{name}, line {entry.row.line}: {entry.row.run} in the same log as runs; wanted a log of their own; cut it out, "
        "or remove the line"
        for session in plan.sessions
        for entry in session.movements
        if any(log.source in long for log in entry.logs.values())
    ]


def _sessions(plan: Plan, cut: DayCut, logs: dict[int, dict[str, LongLog]]) -> tuple[PlannedSession, ...]:
    """Sessions of the runs that were found: pieces where a log serves several sessions, else the whole log."""
    users: dict[Path, set[str]] = {}
    for session in plan.sessions:
        for run in session.runs:
            for log in run.logs.values():
                users.setdefault(log.source, set()).add(session.name)
    found = []
    for session in plan.sessions:
        runs = []
        is_shared = any(len(users[log.source]) > 1 for run in session.runs for log in run.logs.values())
        for run in session.runs:
            line = cut.line(run.row)
            if line is not None and line.spans_s:
                runs.append(_in_pieces(run, line, logs[run.row.line]) if is_shared else _in_whole(run, line))
        if runs:
            found.append(replace(session, runs=tuple(runs)))
    return tuple(found)


def _in_whole(run: PlannedRun, line: CutLine) -> PlannedRun:
    """Take the whole logs, with the run's span on the clock of the first."""
    first = next(place for place in run.logs if place in line.spans_s)
    from_s, to_s = line.spans_s[first]
    row = _cut_row(run.row, round(from_s, DIGITS), round(to_s, DIGITS))
    return PlannedRun(row, {place: log for place, log in run.logs.items() if place in line.spans_s})


def _in_pieces(run: PlannedRun, line: CutLine, logs: dict[str, LongLog]) -> PlannedRun:
    """Cut the run out of every log."""
    pieces = {}
    for place, log in run.logs.items():
        if place in line.spans_s:
            from_s, to_s = (round(time_s, DIGITS) for time_s in line.spans_s[place])
            piece = Piece(logs[place].sensor, from_s, to_s)
            pieces[place] = Log(log.source, log.group, f"{run.row.run}/{place}{SUFFIX}", piece)
    return PlannedRun(_cut_row(run.row, None, None), pieces)


def _cut_row(row: Row, start_s: float | None, end_s: float | None) -> Row:
    return replace(row, start_s=start_s, end_s=end_s)


def write_cut_piece(log: Log, target: Path) -> None:
    """Write the piece of a log.

    Raises
    ------
    FileFormatError
        If the log cannot be read.
    OSError
        If the piece cannot be written.
    """
    piece = log.piece
    if piece is None:
        message = f"{log.source.name}: no piece of it is wanted"
        raise ValueError(message)
    samples, _ = samples_between(log.source, log.group, piece.sensor, piece.from_s, piece.to_s)
    columns = piece.sensor.columns
    datasets = _triad(columns.acceleration, samples.acceleration)
    datasets |= _triad(columns.angular_velocity, samples.angular_velocity)
    if columns.time is not None and samples.time is not None:
        datasets[columns.time] = samples.time
    write_piece(target, datasets, _made_of(log))


def is_same_piece(log: Log, target: Path) -> bool:
    """Tell whether a piece is there as it would be written."""
    return is_made_of(target, _made_of(log))


def _triad(
    names: tuple[str, str, str] | str | None, values: NDArray[np.float64]
) -> dict[str, NDArray[np.float64]]:
    if isinstance(names, tuple):
        return dict(zip(names, values.T, strict=True))
    return {str(names): values}


def _made_of(log: Log) -> dict[str, str | float]:
    size = float(log.source.stat().st_size)
    span = (0.0, 0.0) if log.piece is None else (log.piece.from_s, log.piece.to_s)
    return {
        "cut_from": log.source.name + (f"#{log.group}" if log.group else ""),
        "bytes": size,
        "from_s": span[0],
        "to_s": span[1],
    }
