"""The day's list: one line a run, with codes, sensors, files and gate times."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

from imustride.constants import PLACES, SIDES
from imustride.preparing.text import read_table
from imustride.session_checks import is_code, is_run_name

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from imustride.preparing.text import Table

GATE = re.compile(r"gate_(\d+(?:\.\d+)?)_m_time_s")
CONDITION = re.compile(r"condition_([a-z][a-z0-9_]{0,40})")
DEVICE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,31}")
CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?")
NUMBER = re.compile(r"[+-]?\d+(?:\.\d*)?")
PLAIN = frozenset(
    {"date", "time", "end_time", "athlete", "run", "start_foot", "consent", "surface", "protocol"}
    | {"start_s", "end_s", "remark"}
)
# Of `[body]` in a session file, hip to knee and knee to ankle: shortest and longest [m] of people who skate (common
# practice, no source); what lies outside is another unit, or a slip of the pen.
SEGMENT_M = (0.2, 0.7)
LENGTHS_M = {
    "height_m": (0.9, 2.4),
    **{f"{side}_{segment}_m": SEGMENT_M for side in SIDES for segment in ("thigh", "shank")},
}
BY_PLACE = {f"{place}_{what}": (place, what) for place in PLACES for what in ("device", "file")}
NEEDED = ("time", "athlete")
PERSONAL = ("name", "surname", "birth", "mail", "phone")
# A run with its shocks and stances takes about a minute (common practice, no source).
RUN_S = 60


@dataclass(frozen=True, slots=True)
class Row:
    """One run of the list, as it was written.

    Parameters
    ----------
    line : int
        In the file.
    begin, end : datetime
        From when to when the sensors are in use.
    athlete, run : str
        The run is empty where the list leaves it open.
    devices, files : dict of place to str
    gates : tuple of (float, float)
        Position along the lane [m] and time from the first gate [s].
    start_foot : "left", "right" or None
    consent, surface, protocol : str or None
    start_s, end_s : float or None
        Cut of the run, on the clock of the first sensor.
    conditions : dict of str to str
    body : dict of str to float
        Height and lengths of the leg's segments [m].
    """

    line: int
    begin: dt.datetime
    end: dt.datetime
    athlete: str
    run: str
    devices: dict[str, str]
    files: dict[str, str]
    gates: tuple[tuple[float, float], ...]
    start_foot: Literal["left", "right"] | None
    consent: str | None
    surface: str | None
    protocol: str | None
    start_s: float | None
    end_s: float | None
    conditions: dict[str, str] = field(default_factory=dict)
    body: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Roster:
    """The day's list, its problems, and what was found without being declared; one line each."""

    name: str
    rows: tuple[Row, ...]
    problems: tuple[str, ...]
    notes: tuple[str, ...]


def read_roster(
    path: Path, date: dt.date | None = None, delimiter: str | None = None, encoding: str | None = None
) -> Roster:
    """Read the day's list.

    Parameters
    ----------
    path : Path
    date : date, optional
        Of all lines, where the list has no column of it.
    delimiter, encoding : str, optional
        Else found out and told.

    Raises
    ------
    FileFormatError
        If the file cannot be read as a list at all. What is wrong with its lines is in `problems`.
    """
    table = read_table(path, PLAIN | BY_PLACE.keys() | LENGTHS_M.keys(), delimiter, encoding)
    problems = _header_problems(path.name, table.header, date)
    if problems:
        return Roster(path.name, (), tuple(problems), table.notes)
    rows = []
    notes = list(table.notes)
    for line, cells in table.rows:
        reader = _Line(f"{path.name}, line {line}", line, table, cells, problems)
        row = reader.row(date)
        if row is not None:
            rows.append(row)
    if not table.rows:
        problems.append(f"{path.name}: a header but no lines; wanted a line a run; save the list again")
    nameless = sorted({row.athlete for row in rows if not any(map(str.isdigit, row.athlete))})
    if nameless:
        notes.append(f"{path.name}: codes without a digit ({', '.join(nameless)}): codes only, never names")
    return Roster(path.name, tuple(rows), tuple(problems), tuple(notes))


def _header_problems(name: str, header: list[str], date: dt.date | None) -> list[str]:
    found = [
        f"{name}: column {column!r} is there twice; keep one"
        for column in sorted({column for column in header if header.count(column) > 1})
    ]
    for column in dict.fromkeys(header):
        if column in PLAIN or column in BY_PLACE or column in LENGTHS_M:
            continue
        if GATE.fullmatch(column) or CONDITION.fullmatch(column):
            continue
        if any(word in column for word in PERSONAL):
            found.append(
                f"{name}: column {column!r} looks personal; wanted codes only; keep the key elsewhere"
            )
        else:
            found.append(
                f"{name}: unknown column {column!r}; wanted one of those in the README, such as athlete, "
                "left_skate_device or gate_30.48_m_time_s; correct or remove it"
            )
    found += [f"{name}: no column {column!r}; add it" for column in NEEDED if column not in header]
    if "date" not in header and date is None:
        found.append(f"{name}: no column 'date'; add it, or give --date")
    if not any(column in BY_PLACE and BY_PLACE[column][1] == "device" for column in header):
        found.append(
            f"{name}: no column of sensors; wanted left_skate_device and right_skate_device; add them"
        )
    return found


class _Line:
    """Reads the cells of one line; every fault is added to the problems."""

    def __init__(self, where: str, line: int, table: Table, cells: list[str], problems: list[str]) -> None:
        self.where = where
        self.line = line
        self.problems = problems
        self.decimal_comma = table.decimal_comma
        surplus = [cell for cell in cells[len(table.header) :] if cell]
        self.fits = len(cells) >= len(table.header) and not surplus
        if not self.fits:
            self._wrong(None, f"{len(cells)} cells", f"{len(table.header)} as in the header")
        self.cells = dict(zip(table.header, cells, strict=False))

    def row(self, date: dt.date | None) -> Row | None:
        """Return the run of this line; None where it has a fault."""
        if not self.fits:
            return None
        before = len(self.problems)
        begin, end = self._span(date)
        start_s, end_s = self._cut()
        start_foot = self._word("start_foot", SIDES)
        row = Row(
            line=self.line,
            begin=begin,
            end=end,
            athlete=self._matching(
                "athlete", is_code, "a code of 1 to 32 letters and digits, never a name", shown=False
            ),
            run=self._matching("run", is_run_name, "letters, digits, spaces or . _ -", optional=True),
            devices=self._by_place("device"),
            files=self._by_place("file"),
            gates=self._gates(),
            start_foot="left" if start_foot == "left" else "right" if start_foot else None,
            consent=self._word("consent", ("self", "guardian")),
            surface=self._word("surface", ("ice", "synthetic")),
            protocol=self._printable("protocol"),
            start_s=start_s,
            end_s=end_s,
            conditions={
                match[1]: cell
                for column, cell in self.cells.items()
                if (match := CONDITION.fullmatch(column)) and self._printable(column)
            },
            body=self._body(),
        )
        return row if len(self.problems) == before else None

    def _span(self, date: dt.date | None) -> tuple[dt.datetime, dt.datetime]:
        """From when to when the sensors are in use; any time where a cell is wrong."""
        day = self._date(date)
        begin, end = self._clock("time", day), self._clock("end_time", day)
        if not self.cells.get("time"):
            self._wrong("time", "nothing", "hours and minutes, such as 18:05")
        if begin is None:
            begin = dt.datetime.combine(day, dt.time.min)
        elif end is not None and end <= begin:
            self._wrong("end_time", repr(self.cells["end_time"]), f"a time behind {self.cells['time']!r}")
        return begin, end or begin + dt.timedelta(seconds=RUN_S)

    def _cut(self) -> tuple[float | None, float | None]:
        start_s, end_s = self._number("start_s"), self._number("end_s")
        if start_s is not None and end_s is not None and start_s >= end_s:
            self._wrong("end_s", repr(self.cells["end_s"]), f"a time behind start_s {start_s:g}")
        return start_s, end_s

    def _body(self) -> dict[str, float]:
        found = {}
        for column, (least_m, most_m) in LENGTHS_M.items():
            length_m = self._number(column)
            if length_m is not None and least_m <= length_m <= most_m:
                found[column] = length_m
            elif length_m is not None:
                self._wrong(column, repr(self.cells[column]), f"metres, {least_m:g} to {most_m:g}")
        return found

    def _wrong(self, column: str | None, found: str, wanted: str) -> None:
        place = self.where if column is None else f"{self.where}, {column}"
        self.problems.append(f"{place}: found {found[:40]}; wanted {wanted}")

    def _date(self, date: dt.date | None) -> dt.date:
        cell = self.cells.get("date", "")
        if not cell and date is not None:
            return date
        try:
            return dt.date.fromisoformat(cell)
        except ValueError:
            self._wrong("date", repr(cell), "a date such as 2026-10-03")
            return dt.date.min

    def _clock(self, column: str, day: dt.date) -> dt.datetime | None:
        cell = self.cells.get(column, "")
        if not cell:
            return None
        match = CLOCK.fullmatch(cell)
        if match is None:
            self._wrong(column, repr(cell), "hours and minutes, such as 18:05")
            return None
        hour, minute, second = (int(part or 0) for part in match.groups())
        return dt.datetime.combine(day, dt.time(hour, minute, second))

    def _matching(
        self,
        column: str,
        fits: Callable[[str], bool],
        wanted: str,
        *,
        optional: bool = False,
        shown: bool = True,
    ) -> str:
        cell = self.cells.get(column, "")
        if not (fits(cell) or (optional and not cell)):
            # What is no code may be a name: it is not repeated.
            self._wrong(column, repr(cell) if shown or not cell else "something else", wanted)
        return cell

    def _word(self, column: str, words: tuple[str, ...]) -> str | None:
        cell = self.cells.get(column, "").casefold()
        if cell and cell not in words:
            self._wrong(column, repr(cell), " or ".join(words))
        return cell or None

    def _number(self, column: str) -> float | None:
        cell = self.cells.get(column, "")
        if not cell:
            return None
        text = cell.replace(",", ".") if self.decimal_comma else cell
        if NUMBER.fullmatch(text):
            return float(text)
        self._wrong(column, repr(cell), "a number")
        return None

    def _printable(self, column: str) -> str | None:
        cell = self.cells.get(column, "")
        if not cell.isprintable():
            self._wrong(column, repr(cell), "text without control characters")
        return cell or None

    def _by_place(self, what: str) -> dict[str, str]:
        found = {}
        for column, (place, kind) in BY_PLACE.items():
            cell = self.cells.get(column, "")
            if kind != what or not cell:
                continue
            if kind == "device" and not DEVICE.fullmatch(cell):
                self._wrong(column, repr(cell), "a device of letters, digits or . _ -")
            found[place] = cell
        if what == "device" and not found:
            self._wrong(None, "no sensor", "a device at one place at least")
        return found

    def _gates(self) -> tuple[tuple[float, float], ...]:
        gates = {}
        for column in self.cells:
            match = GATE.fullmatch(column)
            time_s = self._number(column) if match else None
            if match and time_s is not None:
                gates[float(match[1])] = time_s
        if not gates:
            return ()
        gates.setdefault(0.0, 0.0)
        ordered = tuple(sorted(gates.items()))
        if any(later[1] <= earlier[1] for earlier, later in pairwise(ordered)):
            shown = ", ".join(f"{time_s:g} s at {position_m:g} m" for position_m, time_s in ordered)
            self._wrong("gate times", shown, "times that rise from the first gate on, which is 0")
        return ordered
