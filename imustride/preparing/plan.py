"""From the day's list to the sessions of the day: who starts on which foot, which files belong to which run."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from imustride.constants import PLACES, SIDES
from imustride.preparing.doubles import double_problems
from imustride.preparing.kit import FIELD
from imustride.preparing.movements import at_boards, is_movements, movement_problems, without_movements
from imustride.session_checks import is_inside, split_group

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence
    from pathlib import Path

    from imustride.preparing.kit import Kit
    from imustride.preparing.roster import Roster, Row
    from imustride.session import Sensor


NO_LOG = "-"


@dataclass(frozen=True, slots=True)
class Piece:
    """A part of a log on its own clock [s], and how the log is read."""

    sensor: Sensor
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class Log:
    """A sensor's log of one run: the file as found, its name inside the session folder, and the piece to be cut out."""

    source: Path
    group: str | None
    target: str
    piece: Piece | None = None


@dataclass(frozen=True, slots=True)
class PlannedRun:
    """One run: its line of the list, with the run named and the start foot decided, and its logs by place."""

    row: Row
    logs: dict[str, Log]


@dataclass(frozen=True, slots=True)
class PlannedSession:
    """The runs of one athlete with the same sensors, surface, protocol and conditions, and movements at the boards."""

    name: str
    runs: tuple[PlannedRun, ...]
    movements: tuple[PlannedRun, ...] = ()

    @property
    def recordings(self) -> tuple[PlannedRun, ...]:
        """Everything recorded: movements, then runs."""
        return (*self.movements, *self.runs)


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to be made, what is wrong with it, and what is worth knowing; one line each."""

    sessions: tuple[PlannedSession, ...]
    rows: tuple[Row, ...]
    problems: tuple[str, ...]
    notes: tuple[str, ...]

    def session_of(self, row: Row) -> str:
        """Name of the session that a line of the list belongs to, the first of several; empty for a line without one."""
        mine = (
            session.name
            for session in self.sessions
            if any(entry.row.line == row.line for entry in session.recordings)
        )
        return next(mine, "")


def plan_day(roster: Roster, kit: Kit, logs: Path | None, *, cut: bool = False) -> Plan:
    """Plan the sessions of a day.

    Parameters
    ----------
    roster : Roster
    kit : Kit
    logs : Path or None
        Folder with the logs; None before the test, when there are none yet.
    cut : bool
        Whether logs of many runs are going to be cut: then runs may share them.

    Returns
    -------
    Plan
        With the problems of the list first.
    """
    problems, notes = list(roster.problems), list(roster.notes)
    rows = with_start_feet(named_runs(measured(consented(roster.rows))))
    runs_of = grouped([row for row in rows if not is_movements(row)])
    moved = at_boards(rows, runs_of)
    problems += double_problems(roster.name, rows) + movement_problems(roster.name, rows, moved)
    if logs is not None:
        problems += _kit_problems(roster.name, rows, kit)
    notes += _hurried(rows, kit.changeover_min) + _unconsented(rows) + without_movements(runs_of, moved)
    sessions = []
    for name, group in runs_of.items():
        planned = []
        for mine in (group, moved[name]):
            found, wrong = (
                (tuple(PlannedRun(row, {}) for row in mine), [])
                if logs is None
                else _with_logs(roster.name, mine, kit, logs)
            )
            planned.append(found)
            problems += wrong
        sessions.append(_with_same_targets(PlannedSession(name, *planned)))
    if logs is not None:
        problems += _shared_files(roster.name, sessions, cut=cut)
        if rows and not any(entry.logs for session in sessions for entry in session.recordings):
            notes.append("not one log was found; before the test, --sheet-only makes the list and the sheet")
    return Plan(tuple(sessions), rows, tuple(dict.fromkeys(problems)), tuple(dict.fromkeys(notes)))


def named_runs(rows: Sequence[Row]) -> tuple[Row, ...]:
    """Number the runs that the list leaves open, in order of time: run-1, run-2, ... of each athlete and day."""
    taken: dict[tuple[str, dt.date], set[str]] = {}
    for row in rows:
        taken.setdefault((row.athlete, row.begin.date()), set()).add(row.run)
    count: dict[tuple[str, dt.date], int] = {}
    named = []
    for row in sorted(rows, key=lambda row: (row.begin, row.line)):
        key = (row.athlete, row.begin.date())
        run = row.run
        while not run:
            count[key] = count.get(key, 0) + 1
            candidate = f"run-{count[key]}"
            run = "" if candidate in taken[key] else candidate
        named.append(replace(row, run=run))
    return tuple(named)


def consented(rows: Sequence[Row]) -> tuple[Row, ...]:
    """Let the consent that one line of an athlete names hold for the others, which leave it open."""
    given = {row.athlete: row.consent for row in reversed(rows) if row.consent is not None}
    return tuple(replace(row, consent=row.consent or given.get(row.athlete)) for row in rows)


def measured(rows: Sequence[Row]) -> tuple[Row, ...]:
    """Let the lengths that one line of an athlete names hold for the others."""
    known: dict[str, dict[str, float]] = {}
    for row in reversed(rows):
        known.setdefault(row.athlete, {}).update(row.body)
    return tuple(replace(row, body=known[row.athlete] | row.body) for row in rows)


def with_start_feet(rows: Sequence[Row]) -> tuple[Row, ...]:
    """Let every athlete start with the left and the right foot in turn, every other athlete with the right first.

    A foot that the list names stays, and the next run takes the other one. Movements start on none.
    """
    last: dict[str, str] = {}
    decided = []
    for row in rows:
        if is_movements(row):
            decided.append(replace(row, start_foot=None))
            continue
        first = SIDES[len(last) % 2]
        usual = _other(last[row.athlete]) if row.athlete in last else first
        foot = row.start_foot or usual
        last[row.athlete] = foot
        decided.append(replace(row, start_foot="left" if foot == "left" else "right"))
    return tuple(decided)


def _other(side: str) -> str:
    return SIDES[1 - SIDES.index(side)]


def grouped(rows: Sequence[Row]) -> dict[str, list[Row]]:
    """Runs by the name of their session: ``date-athlete``, with a number where sensors or conditions changed.

    A run without a sensor that the others have stays with them: its log is lost, or was never made.
    """
    groups: dict[str, list[Row]] = {}
    for row in rows:
        stem = f"{row.begin.date()}-{row.athlete}"
        mine = [name for name in groups if name == stem or name.startswith(f"{stem}-")]
        fitting = [name for name in mine if _belongs(row, groups[name])]
        name = fitting[0] if fitting else stem if not mine else f"{stem}-{len(mine) + 1}"
        groups.setdefault(name, []).append(row)
    return groups


def _belongs(row: Row, group: Sequence[Row]) -> bool:
    first, worn = group[0], worn_by(group)
    same = (first.surface, first.protocol, first.conditions) == (row.surface, row.protocol, row.conditions)
    return same and all(worn.get(place, device) == device for place, device in row.devices.items())


def worn_by(rows: Sequence[Row]) -> dict[str, str]:
    """Devices by place over all runs of a session, in the order of places: left skate, right skate, ..."""
    worn = {place: device for row in rows for place, device in row.devices.items()}
    return {place: worn[place] for place in PLACES if place in worn}


def _kit_problems(name: str, rows: Sequence[Row], kit: Kit) -> list[str]:
    found = []
    if kit.devices:
        lines: dict[str, int] = {}
        for row in rows:
            for device in row.devices.values():
                lines.setdefault(device, row.line)
        found += [
            f"{name}, line {line}: device {device} is not in {kit.name}; correct the list, or add it under [[devices]]"
            for device, line in lines.items()
            if device not in kit.devices
        ]
    for key in ("surface", "protocol"):
        open_lines = [row.line for row in rows if getattr(row, key) is None]
        if open_lines and key not in kit.shared:
            found.append(
                f"{name}, line {open_lines[0]}: no {key}; add a column to the list, or {key} to {kit.name}"
            )
    return found


def _hurried(rows: Sequence[Row], changeover_min: float) -> list[str]:
    """Name sensors that go from one athlete to the next in less time than that takes."""
    found: list[str] = []
    last: dict[str, Row] = {}
    for row in rows:
        for device in row.devices.values():
            before = last.get(device)
            last[device] = row
            if before is None or before.athlete == row.athlete:
                continue
            left_min = (row.begin - before.end).total_seconds() / 60
            if 0 <= left_min < changeover_min:
                found.append(
                    f"{device} goes from {before.athlete} to {row.athlete} in {left_min:.0f} min "
                    f"({row.begin:%H:%M}); fitting takes {changeover_min:g} min"
                )
    return found


def _unconsented(rows: Sequence[Row]) -> list[str]:
    codes = sorted({row.athlete for row in rows if row.consent is None})
    return (
        [f"no consent on record for {', '.join(codes)}: ask before anything is shown or kept"]
        if codes
        else []
    )


def _with_logs(
    name: str, rows: Sequence[Row], kit: Kit, logs: Path
) -> tuple[tuple[PlannedRun, ...], list[str]]:
    """Find the logs of the runs of one session."""
    found: list[tuple[Row, dict[str, tuple[Path, str | None]]]] = []
    problems: list[str] = []
    for row in rows:
        mine: dict[str, tuple[Path, str | None]] = {}
        before = len(problems)
        for place, device in row.devices.items():
            where = f"{name}, line {row.line}, {place}"
            if row.files.get(place) == NO_LOG:
                continue
            written = row.files.get(place) or _filled(kit.logs, row, place, device)
            if written is None:
                problems.append(f"{where}: no file; wanted a column {place}_file, or logs in {kit.name}")
                continue
            file, group = split_group(written)
            problem = _file_problem(file, logs)
            if problem:
                problems.append(f"{where}: {problem}")
            else:
                mine[place] = ((logs / file), group)
        problems += [
            f"{name}, line {row.line}: a file at {place}, but no device there; wanted {place}_device; add it"
            for place in row.files
            if place not in row.devices and row.files[place] != NO_LOG
        ]
        if not mine and len(problems) == before:
            problems.append(f"{name}, line {row.line}: no log at all; wanted one at least; remove the line")
        found.append((row, mine))
    return _targets(found), problems


def _filled(pattern: str | None, row: Row, place: str, device: str) -> str | None:
    if pattern is None:
        return None
    values = {
        "date": f"{row.begin.date()}",
        "time": f"{row.begin:%H%M}",
        "athlete": row.athlete,
        "run": row.run,
        "place": place,
        "side": place.split("_", maxsplit=1)[0],
        "device": device,
    }
    return FIELD.sub(lambda match: values[match[1]], pattern)


def _file_problem(file: str, logs: Path) -> str | None:
    if not is_inside(file, logs.resolve()):
        return (
            f"file {file!r} lies outside the folder of logs; wanted a path inside it, relative, without '..' or a "
            "link that leads out"
        )
    path = logs / file
    if not path.is_file():
        return f"file {file!r} is missing in {logs.name or 'the folder of logs'}; copy it from the sensor"
    if path.stat().st_size == 0:
        return f"file {file!r} is empty; copy it from the sensor again"
    return None


def _targets(found: Sequence[tuple[Row, dict[str, tuple[Path, str | None]]]]) -> tuple[PlannedRun, ...]:
    """Name the copies: a folder for each run; a file that serves several of them lies beside these, once."""
    sources = [source for _, logs in found for source, _ in logs.values()]
    shared: dict[Path, str] = {}
    for source in dict.fromkeys(source for source in sources if sources.count(source) > 1):
        shared[source] = (
            f"logs/{len(shared) + 1}-{source.name}" if _same_name(source, shared) else f"logs/{source.name}"
        )
    return tuple(
        PlannedRun(
            row,
            {
                place: Log(source, group, shared.get(source, f"{row.run}/{place}{source.suffix.lower()}"))
                for place, (source, group) in logs.items()
            },
        )
        for row, logs in found
    )


def _with_same_targets(session: PlannedSession) -> PlannedSession:
    """Let movements in a log of runs use the copy that these have."""
    copies = {log.source: log.target for run in session.runs for log in run.logs.values()}
    movements = [
        replace(
            entry,
            logs={
                place: replace(log, target=copies.get(log.source, log.target))
                for place, log in entry.logs.items()
            },
        )
        for entry in session.movements
    ]
    return replace(session, movements=tuple(movements))


def _same_name(source: Path, shared: dict[Path, str]) -> bool:
    return any(other.name.casefold() == source.name.casefold() for other in shared)


def _shared_files(name: str, sessions: Sequence[PlannedSession], *, cut: bool) -> list[str]:
    """One part of a log cannot be two runs; what lies where in the logs of runs, the cut tells."""
    of_runs = {log.source for session in sessions for run in session.runs for log in run.logs.values()}
    used: dict[tuple[Path, str | None], list[tuple[Row, str]]] = {}
    for session in sessions:
        for run in session.recordings:
            for place, log in run.logs.items():
                if cut and log.source in of_runs:
                    continue
                used.setdefault((log.source.resolve(), log.group), []).append((run.row, place))
    return [
        f"{name}, lines {first.line} and {second.line}: the same file {source.name} for {first.athlete} {first.run} "
        f"({place}) and {second.athlete} {second.run} ({other}); wanted a file each, or start_s and end_s that part it{'' if cut else ', or --cut to find them'}"
        for (source, _), users in used.items()
        for (first, place), (second, other) in pairwise(users)
        # Movements of one line may serve two sessions.
        if (first.line, place) != (second.line, other)
        and (first.line == second.line or not _apart(first, second))
    ]


def _apart(first: Row, second: Row) -> bool:
    """Whether two runs take different parts of one log."""
    cuts = (first.start_s, first.end_s, second.start_s, second.end_s)
    if any(cut is None for cut in cuts):
        return False
    from_s, to_s, other_from_s, other_to_s = (cut or 0.0 for cut in cuts)
    return to_s <= other_from_s or other_to_s <= from_s
