"""The logs of a whole evening, one a sensor: read in blocks, searched for runs, matched to the day's list."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import TYPE_CHECKING

from imustride.constants import SKATES
from imustride.cutting.finding import find_runs
from imustride.cutting.matching import Match, Wanted, match
from imustride.cutting.said import with_said
from imustride.errors import ImustrideError
from imustride.surveying import (
    LEAST_AGREEMENT,
    agreement,
    covers,
    lag_between_s,
    lag_in_spans_s,
    near_lag_s,
    survey_log,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from imustride.cutting.finding import Candidate
    from imustride.cutting.survey import Blocks
    from imustride.preparing.roster import Row
    from imustride.surveying import LongLog, Told

    Lines = list[tuple[Row, dict[str, LongLog]]]

# What differs by less is the resolution of blocks.
SAME_S = 2.0
MOST_TOLD = 3
NO_LOG = "-"
# Behind the runs: what a sensor of the body does before and after tells one run from another.
AROUND_S = 10.0


@dataclass(frozen=True, eq=False, slots=True)
class CutLine:
    """One line of the list and where its run lies.

    Parameters
    ----------
    row : Row
    match : Match
        Its candidate counts in `CutGroup.found`.
    spans_s : dict of place to (float, float)
        To be cut out, on each sensor's own clock [s].
    missing : dict of place to str
        Sensors whose log does not show the run, and why.
    """

    row: Row
    match: Match
    spans_s: dict[str, tuple[float, float]] = field(default_factory=dict)
    missing: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, eq=False, slots=True)
class CutGroup:
    """The lines that share the logs of the skates, and what was found there.

    Parameters
    ----------
    names : dict of place to str
        Log of each sensor in the picture, the skates first.
    blocks : dict of place to Blocks
    lags_s : dict of place to float
        Time on the first clock minus time on the own clock [s].
    found : tuple of Candidate
        Runs, in order of time.
    aside : tuple of Candidate
        What is none, each with its reason.
    lines : tuple of CutLine
    """

    names: dict[str, str]
    blocks: dict[str, Blocks]
    lags_s: dict[str, float]
    found: tuple[Candidate, ...]
    aside: tuple[Candidate, ...]
    lines: tuple[CutLine, ...]

    @property
    def clock(self) -> str:
        """Place whose clock counts."""
        return next(iter(self.names))

    @property
    def over(self) -> tuple[Candidate, ...]:
        """Runs that belong to no line, though they have everything of a run."""
        used = {line.match.candidate for line in self.lines}
        choices = {choice for line in self.lines for choice in line.match.choices}
        return tuple(
            one
            for place, one in enumerate(self.found)
            if one.is_sure and place not in used and place not in choices
        )


@dataclass(frozen=True, slots=True)
class DayCut:
    """The cut of a day: groups in order of the list, problems and notes, one line each."""

    groups: tuple[CutGroup, ...]
    problems: tuple[str, ...]
    notes: tuple[str, ...]

    def line(self, row: Row) -> CutLine | None:
        """Return what was decided for a line of the list."""
        return next((one for group in self.groups for one in group.lines if one.row.line == row.line), None)


def cut_day(name: str, lines: Lines, told: Told | None = None, *, has_seconds: bool) -> DayCut:
    """Find the runs of a day in its long logs and match them to the list.

    Parameters
    ----------
    name : str
        Of the list.
    lines : list of (Row, dict of place to LongLog)
        Lines of the list in order of time, with the log of each sensor.
    told : callable, optional
        Called with a few words as the reading goes on.
    has_seconds : bool
        Whether the list's times have seconds.

    Returns
    -------
    DayCut
        A log that cannot be read is a problem of the lines that need it.
    """
    surveys = _Surveys(told, len({_key(log) for _, mine in lines for log in mine.values()}))
    groups, problems = [], []
    for mine in _grouped(lines):
        group, wrong = _cut_group(mine, surveys, has_seconds=has_seconds)
        problems += wrong
        if group is not None:
            groups.append(group)
    problems += [problem for group in groups for problem in _group_problems(name, group)]
    cut = [(line.row, line.spans_s) for group in groups for line in group.lines]
    problems += twice(name, cut, {row.line: logs for row, logs in lines})
    notes = [note for group in groups for note in _group_notes(name, group)]
    return DayCut(tuple(groups), tuple(dict.fromkeys([*surveys.problems, *problems])), tuple(notes))


class _Surveys:
    """Reads every log once."""

    def __init__(self, told: Told | None, count: int) -> None:
        self._told = told
        self._count = count
        self._found: dict[tuple[str, str | None], Blocks | None] = {}
        self.problems: list[str] = []

    def of(self, log: LongLog) -> Blocks | None:
        """Return the blocks of a log; None where it cannot be read, which becomes a problem."""
        key = _key(log)
        if key not in self._found:
            self._found[key] = None
            try:
                self._found[key] = survey_log(log, self._say)
            except (ImustrideError, OSError) as error:
                self.problems.append(
                    str(error) if isinstance(error, ImustrideError) else f"{log.name}: {error.strerror}"
                )
        return self._found[key]

    def _say(self, text: str) -> None:
        if self._told is not None:
            self._told(text, len(self._found), self._count)


def _key(log: LongLog) -> tuple[str, str | None]:
    return str(log.path), log.group


def _grouped(lines: Lines) -> list[Lines]:
    """Lines that share the logs of their skates; a line with one of the two belongs to those with both."""
    groups: list[tuple[dict[str, LongLog], Lines]] = []
    for row, logs in sorted(lines, key=lambda line: -len(_skates(line[1]))):
        mine = _skates(logs)
        fitting = [group for group in groups if mine and mine.items() <= group[0].items()]
        if fitting:
            fitting[0][1].append((row, logs))
        else:
            groups.append((mine, [(row, logs)]))
    ordered = [sorted(group, key=lambda line: (line[0].begin, line[0].line)) for _, group in groups]
    return sorted(ordered, key=lambda group: group[0][0].begin)


def _skates(logs: Mapping[str, LongLog]) -> dict[str, LongLog]:
    return {place: logs[place] for place in SKATES if place in logs}


def _cut_group(lines: Lines, surveys: _Surveys, *, has_seconds: bool) -> tuple[CutGroup | None, list[str]]:
    """Find and match the runs of the lines that share the logs of their skates."""
    logs: dict[str, LongLog] = {}
    for _, mine in lines:
        logs |= {place: log for place, log in _skates(mine).items() if place not in logs}
    blocks = {place: read for place, log in logs.items() if (read := surveys.of(log)) is not None}
    told = ", ".join(str(row.line) for row, _ in lines)
    if not blocks:
        return None, [
            f"lines {told}: no log of a skate that can be read; wanted one at least to find the runs in"
        ]
    first, *others = blocks
    lags_s = {first: 0.0} | {place: lag_between_s(blocks[first], blocks[place]) for place in others}
    for place in others:
        together = agreement(blocks[first], blocks[place], lags_s[place])
        if together < LEAST_AGREEMENT:
            problem = (
                f"lines {told}: {logs[place].name} and {logs[first].name} do not move together (correlation "
                f"{together:.2f}); wanted the logs of both skates of one skater; correct the list"
            )
            return None, [problem]
    candidates = find_runs(blocks, lags_s)
    runs = [one for one in candidates if not one.reason]
    found, said, problems = with_said(runs, _spans_s(row for row, _ in lines), SAME_S)
    wanted = [Wanted(_seconds(row), _gate_time_s(row), said.get(row.line)) for row, _ in lines]
    matches = match(wanted, found, has_seconds=has_seconds)
    names = {place: logs[place].name for place in blocks}
    aside = tuple(one for one in candidates if one.reason)
    group = CutGroup(names, blocks, lags_s, tuple(found), aside, ())
    return _with_lines(group, lines, matches, surveys), problems


def _seconds(row: Row) -> float:
    return (
        row.begin.timestamp()
        if row.begin.tzinfo
        else (row.begin - type(row.begin)(1970, 1, 1)).total_seconds()
    )


def _gate_time_s(row: Row) -> float | None:
    return row.gates[-1][1] - row.gates[0][1] if row.gates else None


def _spans_s(rows: Iterable[Row]) -> dict[int, tuple[float, float]]:
    """Return what the list says about where runs lie, by line."""
    return {
        row.line: (row.start_s, row.end_s)
        for row in rows
        if row.start_s is not None and row.end_s is not None
    }


def _with_lines(group: CutGroup, lines: Lines, matches: Sequence[Match], surveys: _Surveys) -> CutGroup:
    """Find the spans of the matched lines in the logs of all their sensors."""
    used = [group.found[one.candidate] for one in matches if one.candidate is not None]
    around = [(run.start_s - AROUND_S, run.stop_s + AROUND_S) for run in used]
    names, blocks, lags_s = dict(group.names), dict(group.blocks), dict(group.lags_s)
    lags: dict[tuple[str, str | None], float | None] = {}
    cut: list[CutLine] = []
    reference = group.blocks[group.clock]
    for (row, logs), decided in zip(lines, matches, strict=True):
        line = CutLine(row, decided)
        for place, log in logs.items() if decided.candidate is not None else ():
            run = group.found[decided.candidate or 0]
            other = surveys.of(log)
            if other is None:
                line.missing[place] = f"{log.name} cannot be read"
                continue
            key = _key(log)
            if place in group.blocks:
                lags[key] = group.lags_s[place]
            elif key not in lags:
                lags[key] = lag_in_spans_s(reference, other, around)
                names.setdefault(place, log.name)
                blocks.setdefault(place, other)
                lags_s.setdefault(place, lags[key] or 0.0)
            _add_span(line, place, log, run, (reference, other, lags[key]))
        cut.append(line)
    return replace(group, names=names, blocks=blocks, lags_s=lags_s, lines=tuple(cut))


def _add_span(
    line: CutLine, place: str, log: LongLog, run: Candidate, beside: tuple[Blocks, Blocks, float | None]
) -> None:
    """Add where a run lies in the log of one sensor, or why it does not."""
    reference, other, lag_s = beside
    if reference is other:
        line.spans_s[place] = (run.from_s, run.to_s)
        return
    span_s = (run.start_s - AROUND_S, run.stop_s + AROUND_S)
    if lag_s is None or not covers(other, run.start_s - lag_s, run.stop_s - lag_s):
        line.missing[place] = f"{log.name} does not reach there"
        return
    near_s, together = near_lag_s(reference, other, lag_s, span_s)
    if together < LEAST_AGREEMENT and place not in run.places:
        line.missing[place] = f"{log.name} does not show the run"
        return
    line.spans_s[place] = (run.from_s - near_s, run.to_s - near_s)


def _group_problems(name: str, group: CutGroup) -> list[str]:
    """Say what was not matched, and why."""
    problems = []
    for line in group.lines:
        where = f"{name}, line {line.row.line}, {line.row.athlete} {line.row.run}"
        if line.match.choices:
            times = " or ".join(f"{group.found[choice].start_s:.0f} s" for choice in line.match.choices)
            problems.append(
                f"{where}: may be the run at {times} of {group.names[group.clock]} or none ({sum(run.is_sure for run in group.found)} runs, "
                f"{len(group.lines)} lines): not decided; give start_s and end_s of a line"
            )
        elif line.match.candidate is None:
            problems.append(f"{where}: no run for it in {group.names[group.clock]}{_near(group, line)}")
        problems += [
            f"{where}: not at {place}: {why}; write '{NO_LOG}' as its file, or correct the list"
            for place, why in line.missing.items()
        ]
    return problems + [
        f"{group.names[group.clock]}: the run at {run.start_s:.0f} s (start_s = {run.from_s:.1f}, end_s = {run.to_s:.1f}) "
        f"is on no line of {name}; add its line, or leave it out"
        for run in group.over
    ]


def _near(group: CutGroup, line: CutLine) -> str:
    """Say what lies between the runs of the lines around one that has none."""
    at = group.lines.index(line)
    before = [
        group.found[one.match.candidate].stop_s for one in group.lines[:at] if one.match.candidate is not None
    ]
    behind = [
        group.found[one.match.candidate].start_s
        for one in group.lines[at:]
        if one.match.candidate is not None
    ]
    from_s, to_s = max(before, default=float("-inf")), min(behind, default=float("inf"))
    others = [(one.start_s, one.reason) for one in group.aside]
    others += [(one.start_s, "a motion without shocks") for one in group.found if not one.is_sure]
    told = [f"at {at_s:.0f} s {why}" for at_s, why in sorted(others) if from_s < at_s < to_s]
    found = f"; there lie: {', '.join(told[:MOST_TOLD])}" if told else ""
    return f"{found}; remove the line, or give its start_s and end_s"


def _group_notes(name: str, group: CutGroup) -> list[str]:
    notes = []
    if any(line.match.by_order for line in group.lines):
        notes.append(
            f"{name}: the times of the list do not fit {group.names[group.clock]}: its lines were matched by their order "
            "alone; look at each"
        )
    for line in group.lines:
        if line.match.candidate is None or line.row.start_s is not None:
            continue
        run = group.found[line.match.candidate]
        if not run.is_sure:
            notes.append(
                f"{name}, line {line.row.line}: the run at {run.start_s:.0f} s has no shocks that both feet felt: matched "
                "by order and time alone"
            )
    return notes


def twice(
    name: str,
    cut: Iterable[tuple[Row, Mapping[str, tuple[float, float]]]],
    logs: Mapping[int, Mapping[str, LongLog]],
) -> list[str]:
    """Tell which lines share one part of a log; spans by place are on each sensor's own clock [s]."""
    used: dict[tuple[str, str | None], list[tuple[float, float, Row]]] = {}
    for row, spans_s in cut:
        for place, (from_s, to_s) in spans_s.items():
            used.setdefault(_key(logs[row.line][place]), []).append((from_s, to_s, row))
    return [
        f"{name}, lines {first.line} and {second.line}: both would be cut out of {path.rsplit('/', maxsplit=1)[-1]} near "
        f"{begin_s:.0f} s; wanted a part of the log for each; correct start_s and end_s"
        for (path, _), spans in used.items()
        for (_, end_s, first), (begin_s, _, second) in combinations(
            sorted(spans, key=lambda span: span[0]), 2
        )
        if begin_s < end_s - SAME_S
    ]
