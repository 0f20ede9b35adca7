"""Movements at the boards in the logs of runs: where the times of the list lie on the clock of every sensor."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.long_logs import SAME_S, twice

if TYPE_CHECKING:
    from collections.abc import Mapping

    from imustride.long_logs import CutGroup, CutLine, DayCut
    from imustride.preparing.plan import Plan, PlannedRun
    from imustride.preparing.roster import Row
    from imustride.surveying import LongLog

    # By line of the list and place.
    Logs = Mapping[int, Mapping[str, LongLog]]
    # By place, on each sensor's own clock [s].
    Spans = dict[str, tuple[float, float]]


def place_movements(name: str, plan: Plan, cut: DayCut, logs: Logs) -> tuple[dict[int, Spans], list[str]]:
    """Find the spans of movements that lie in logs of runs.

    The list says when, in seconds of the picture. The other clocks are joined by the nearest run that both logs show: in
    squats skates stand still, and show nothing.

    Parameters
    ----------
    name : str
        Of the list.
    plan : Plan
    cut : DayCut
        Of its runs.
    logs : mapping of line of the list to mapping of place to LongLog
        Of runs and of movements.

    Returns
    -------
    spans_s : dict of line of the list to dict of place to (float, float)
        On each sensor's own clock [s]; without a place where it is not known. Movements in logs of their own are not in it.
    problems : list of str
    """
    of_runs = {
        _key(log) for session in plan.sessions for run in session.runs for log in logs[run.row.line].values()
    }
    spans: dict[int, Spans] = {}
    problems: list[str] = []
    rows: list[Row] = []
    for session in plan.sessions:
        for entry in session.movements:
            line = entry.row.line
            if line in spans or not any(_key(log) in of_runs for log in logs[line].values()):
                continue
            spans[line], wrong = _placed(entry, _group_of(entry, plan, cut, logs), logs)
            wrong += _overlaps(entry.row, spans[line], cut, logs)
            problems += [f"{name}, line {line}, {entry.row.athlete} {entry.row.run}: {one}" for one in wrong]
            rows.append(entry.row)
    return spans, problems + twice(name, [(row, spans[row.line]) for row in rows], logs)


def _key(log: LongLog) -> tuple[str, str | None]:
    return str(log.path), log.group


def _group_of(entry: PlannedRun, plan: Plan, cut: DayCut, logs: Logs) -> CutGroup | None:
    """Return the lines in whose picture movements lie: those of their session, then those that share most logs."""
    mine = {
        run.row.line
        for session in plan.sessions
        if any(one.row.line == entry.row.line for one in session.movements)
        for run in session.runs
    }

    def fits(group: CutGroup) -> tuple[bool, int]:
        joined = [
            place
            for place, log in logs[entry.row.line].items()
            if _lag_s(group, entry.row, place, log, logs) is not None
        ]
        return any(line.row.line in mine for line in group.lines), len(joined)

    return max(cut.groups, key=fits, default=None)


def _placed(entry: PlannedRun, group: CutGroup | None, logs: Logs) -> tuple[Spans, list[str]]:
    """Return the spans of one line, and what is wrong."""
    row = entry.row
    if row.start_s is None or row.end_s is None:
        problem = (
            "in the same log as runs, where nothing tells it from the rest; wanted its start_s and end_s in the list, "
            "in seconds of the picture; add them, or remove the line"
        )
        return {}, [problem]
    spans: Spans = {}
    problems = []
    for place, log in logs[row.line].items():
        lag_s = None if group is None else _lag_s(group, row, place, log, logs)
        if group is None or lag_s is None:
            problems.append(
                f"not at {place}: no run shows how the clock of {log.name} goes with that of the picture; write '-' as "
                "its file, or correct the list"
            )
            continue
        span_s = (row.start_s - lag_s, row.end_s - lag_s)
        if _reaches(group, place, log, span_s, logs):
            spans[place] = span_s
        else:
            problems.append(
                f"not at {place}: {log.name} does not reach there; write '-' as its file, or correct the list"
            )
    return spans, problems


def _lag_s(group: CutGroup, row: Row, place: str, log: LongLog, logs: Logs) -> float | None:
    """Return time on the clock of the picture minus time on that of a log, by the run nearest to a line [s]."""
    near = sorted(
        (one for one in group.lines if _shows(one, place, log, logs) and group.clock in one.spans_s),
        key=lambda one: abs(one.row.begin - row.begin),
    )
    return near[0].spans_s[group.clock][0] - near[0].spans_s[place][0] if near else None


def _shows(line: CutLine, place: str, log: LongLog, logs: Logs) -> bool:
    """Tell whether a run was found in a log."""
    return place in line.spans_s and _key(logs[line.row.line][place]) == _key(log)


def _reaches(group: CutGroup, place: str, log: LongLog, span_s: tuple[float, float], logs: Logs) -> bool:
    """Tell whether a log holds anything of a span, as far as its ends are known."""
    used = {_key(logs[one.row.line][place]) for one in group.lines if place in logs[one.row.line]}
    if used != {_key(log)} or place not in group.blocks:
        return True
    blocks = group.blocks[place]
    return span_s[0] < blocks.end_s and span_s[1] > blocks.start_s


def _overlaps(row: Row, spans: Spans, cut: DayCut, logs: Logs) -> list[str]:
    """One part of a log cannot be movements and a run."""
    found: dict[int, str] = {}
    for place, (from_s, to_s) in spans.items():
        for line in (one for group in cut.groups for one in group.lines):
            if not _shows(line, place, logs[row.line][place], logs):
                continue
            begin_s, end_s = line.spans_s[place]
            if min(to_s, end_s) - max(from_s, begin_s) > SAME_S:
                found.setdefault(
                    line.row.line,
                    f"{line.row.athlete} {line.row.run} of line {line.row.line} lies in the same part of "
                    f"{logs[row.line][place].name}, near {max(from_s, begin_s):.0f} s; wanted a part of the log for each; "
                    "correct start_s and end_s",
                )
    return list(found.values())
