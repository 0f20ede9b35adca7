"""The day's plan with the long logs cut: which part of which log is which run, as whole logs or as pieces."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from imustride.exporting.pieces import SUFFIX, is_made_of, write_piece
from imustride.loaders.spans import samples_between
from imustride.long_logs import cut_day
from imustride.movement_cut import place_movements
from imustride.preparing.plan import Log, Piece, Plan, PlannedRun, PlannedSession
from imustride.preparing.session_text import content
from imustride.session import declared
from imustride.surveying import LongLog

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    import numpy as np
    from numpy.typing import NDArray

    from imustride.long_logs import DayCut
    from imustride.movement_cut import Logs, Spans
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
    moved: dict[int, dict[str, LongLog]] = {}
    for session in plan.sessions:
        folder = out.resolve() / session.name
        record = declared(
            content(session, kit, folder), folder, f"{session.name}/session.toml (from {kit.name})"
        )
        lines += [(run.row, _logs(run, record)) for run in session.runs]
        moved |= {entry.row.line: _logs(entry, record) for entry in session.movements}
    lines.sort(key=lambda line: (line[0].begin, line[0].line))
    has_seconds = any(row.begin.second for row, _ in lines)
    cut = cut_day(name, lines, told, has_seconds=has_seconds)
    logs = {row.line: mine for row, mine in lines} | moved
    placed, problems = place_movements(name, plan, cut, logs)
    sessions = _sessions(plan, cut, logs, placed)
    notes = (*plan.notes, *cut.notes)
    return replace(plan, sessions=sessions, notes=notes), replace(cut, problems=(*cut.problems, *problems))


def _logs(run: PlannedRun, record: Session) -> dict[str, LongLog]:
    found = {}
    for place, log in run.logs.items():
        sensor = record.sensor(place)
        path = record.calibration_path(sensor)
        found[place] = LongLog(log.source, log.group, sensor, None if path is None else path.resolve())
    return found


def _sessions(plan: Plan, cut: DayCut, logs: Logs, placed: Mapping[int, Spans]) -> tuple[PlannedSession, ...]:
    """Sessions of what was found: pieces where a log serves several sessions, else the whole log."""
    spans = {line.row.line: line.spans_s for group in cut.groups for line in group.lines} | dict(placed)
    long = {
        session.name: [one for one in session.recordings if one in session.runs or one.row.line in placed]
        for session in plan.sessions
    }
    users: dict[Path, set[str]] = {}
    for name, entries in long.items():
        for log in (log for entry in entries for log in entry.logs.values()):
            users.setdefault(log.source, set()).add(name)
    found = []
    for session in plan.sessions:
        is_shared = any(len(users[log.source]) > 1 for one in long[session.name] for log in one.logs.values())

        def cut_out(entries: Sequence[PlannedRun], *, in_pieces: bool = is_shared) -> tuple[PlannedRun, ...]:
            mine = [(entry, spans[entry.row.line]) for entry in entries if spans.get(entry.row.line)]
            return tuple(
                _in_pieces(entry, where, logs[entry.row.line]) if in_pieces else _in_whole(entry, where)
                for entry, where in mine
            )

        runs = cut_out(session.runs)
        alone = tuple(entry for entry in session.movements if entry.row.line not in placed)
        if runs:
            found.append(replace(session, runs=runs, movements=(*alone, *cut_out(session.movements))))
    return tuple(found)


def _in_whole(run: PlannedRun, spans_s: Spans) -> PlannedRun:
    """Take the whole logs, with the span on the clock of the first."""
    first = next(place for place in run.logs if place in spans_s)
    from_s, to_s = spans_s[first]
    row = _cut_row(run.row, round(from_s, DIGITS), round(to_s, DIGITS))
    return PlannedRun(row, {place: log for place, log in run.logs.items() if place in spans_s})


def _in_pieces(run: PlannedRun, spans_s: Spans, logs: Mapping[str, LongLog]) -> PlannedRun:
    """Cut the span out of every log."""
    pieces = {}
    for place, log in run.logs.items():
        if place in spans_s:
            from_s, to_s = (round(time_s, DIGITS) for time_s in spans_s[place])
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
