"""Delimited text (CSV, TSV): a header line, then one row a sample; read strictly.

pandas turns a column with one bad cell into text, fills short rows with NaN and reads a file with
the wrong delimiter as one text column, all without an error. Here every such file is refused with
the line and the cell; only a cut last line, the mark of a logger that lost power, is left out. How
the file is written is found in `dialect`.
"""

from __future__ import annotations

import csv
import itertools
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.errors import FileFormatError, shown
from imustride.loaders.date_times import NO_DAY, is_date_time, midnight, order_of, seconds
from imustride.loaders.dialect import (
    HEAD_BYTES,
    MISSING,
    NUMBER,
    Dialect,
    fields_of,
    find_dialect,
    wanted_columns,
)
from imustride.loaders.samples import Samples
from imustride.registry import Format

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from typing import TextIO

    import pandas as pd
    from numpy.typing import NDArray

    from imustride.session import Sensor

BLOCK_BYTES = 1 << 18
# Cells of the first rows that are asked for a date-time.
ASKED_ROWS = 50


@dataclass(frozen=True, slots=True)
class Layout:
    """A text file, how it is written, and what is wanted of it."""

    path: Path
    dialect: Dialect
    time_unit: str | None
    start: np.datetime64 | None  # of date-times
    notes: tuple[str, ...]

    @property
    def where(self) -> str:
        """The file as messages name it."""
        return f"{self.path.parent.name}/{self.path.name}"

    @property
    def header(self) -> list[str]:
        """Names of all columns."""
        return self.dialect.header

    @property
    def numbers(self) -> list[int]:
        """Places of the wanted columns, in order of use."""
        return self.dialect.numbers

    @property
    def is_wide(self) -> bool:
        """Whether delimiters and line ends are no single bytes (UTF-16, UTF-32, a delimiter like §)."""
        delimiter = self.dialect.delimiter
        plain = bytes((min(ord(delimiter), 127), ord("\n")))
        return f"{delimiter}\n".encode(self.dialect.encoding.removesuffix("-sig")) != plain

    def rows(self, errors: str = "strict") -> TextIO:
        """Open the file behind its header."""
        file = self.path.open(encoding=self.dialect.encoding, errors=errors, newline="")
        file.read(self.dialect.characters)
        return file

    def is_cut(self, last: str) -> bool:
        """Tell whether the last line lacks fields, or ends inside a number without a line end."""
        fields = fields_of(last, self.dialect.delimiter)
        if len(fields) < len(self.header):
            return True
        return not last.endswith("\n") and not all(
            self.is_cell(number, fields[number]) for number in self.numbers
        )

    def is_cell(self, number: int, field: str) -> bool:
        """Tell whether a field holds what its column wants, or one of the words for a missing value."""
        if self.start is not None and number == self.numbers[0]:
            return field in MISSING or midnight(field, str(self.time_unit)) is not None
        if self.dialect.decimal != ".":
            field = field.replace(".", "?").replace(self.dialect.decimal, ".")
        return field in MISSING or NUMBER.fullmatch(field) is not None


def read(path: Path, group: str | None, sensor: Sensor) -> Samples:
    """Read the declared columns of a delimited text file.

    Parameters
    ----------
    path : Path
    group : None
        Text files have no groups.
    sensor : Sensor
        Declared columns and units; delimiter, decimal and encoding are found where they are not declared.

    Raises
    ------
    FileFormatError
        If the file is empty or binary, lacks a column, a row has a wrong number of fields, or a
        cell is not a number.
    """
    layout = _layout(path, sensor)
    _refuse_group(layout, group)
    rows = _rows(layout)
    tables = list(_tables(layout, rows))
    return _samples(layout, tables[0], rows.notes, timeless=sensor.columns.time is None)


def read_blocks(path: Path, group: str | None, sensor: Sensor, length: int) -> Iterator[Samples]:
    """Read a delimited text file in blocks of rows, as strictly as `read`.

    A row with too many or too few fields is refused behind the last block.

    Parameters
    ----------
    path : Path
    group : None
    sensor : Sensor
    length : int
        Rows in a block.

    Raises
    ------
    FileFormatError
        As `read`.
    """
    layout = _layout(path, sensor)
    _refuse_group(layout, group)
    rows = _rows(layout)
    for table in _tables(layout, rows, length):
        yield _samples(layout, table, rows.notes, timeless=sensor.columns.time is None)


@dataclass(frozen=True, slots=True)
class Rows:
    """What a first look at the bytes tells: how many delimiters the rows have, and what to leave out."""

    delimiters: int
    count: int | None
    notes: tuple[str, ...]


def _refuse_group(layout: Layout, group: str | None) -> None:
    if group is not None:
        message = f"{layout.where}: a text file has no group; found '#{group}'; remove it from session.toml"
        raise FileFormatError(message)


def _rows(layout: Layout) -> Rows:
    delimiters, ends, last = _scan(layout)
    above = layout.dialect.head[: layout.dialect.characters]
    delimiters -= above.count(layout.dialect.delimiter)
    rows = ends - above.count("\n")
    fields = fields_of(last, layout.dialect.delimiter)
    if not (rows > 0 and layout.is_cut(last)):
        return Rows(delimiters, None, layout.notes)
    note = (
        f"the last line is cut off and was left out: {len(fields)} fields, {len(layout.header)} in the header"
    )
    return Rows(delimiters - (len(fields) - 1), rows, (*layout.notes, note))


def _tables(layout: Layout, rows: Rows, length: int | None = None) -> Iterator[pd.DataFrame]:
    """Give the file as one table, or in blocks of `length` rows; refuse what is no table."""
    count, last, is_open = 0, len(layout.header) - 1, False
    try:
        for table in _parsed(layout, rows.count, length):
            count += len(table)
            # A row that is too short is filled up behind: it hides where the last column may be empty.
            is_open |= last not in layout.numbers or bool(table[str(last)].isna().any())
            if len(table):
                yield table
    except (ValueError, UnicodeError) as error:  # pandas' own ParserError is a ValueError
        _refuse_first_fault(layout, is_cut=rows.count is not None)
        message = f"{layout.where}: cannot be read as a table: {error}; check delimiter, decimal and encoding"
        raise FileFormatError(message) from error
    if not count:
        message = f"{layout.where}: a header but no rows; wanted samples; copy the file from the sensor again"
        raise FileFormatError(message)
    if rows.delimiters != count * last or (is_open and not _is_even(layout)):
        sound = _refuse_first_fault(layout, is_cut=rows.count is not None)
        if sound != count:
            message = (
                f"{layout.where}: {count} rows by their ends of line, {sound} by their fields; wanted one kind of end of "
                "line and no blank lines; save the file again"
            )
            raise FileFormatError(message)


def _layout(path: Path, sensor: Sensor) -> Layout:
    where = f"{path.parent.name}/{path.name}"
    dialect = find_dialect(path, where, sensor)
    unit, notes = sensor.units.time, dialect.notes
    stamps = [] if sensor.columns.time is None else _first_cells(dialect)
    if not is_date_time(unit):
        order = order_of(stamps)
        if order is not None:
            wanted = "'date-time day-first' or 'date-time month-first'" if order == "?" else repr(order)
            message = (
                f"{where}: column {wanted_columns(sensor, where)[0].name}: found {stamps[0][:40]!r}, declared is "
                f"{unit!r}; this looks like date and time: declare units.time as {wanted}"
            )
            raise FileFormatError(message)
        return Layout(path, dialect, unit, None, notes)
    start = next((day for stamp in stamps if (day := midnight(stamp, str(unit))) is not None), None)
    if start is None:
        found = stamps[0][:40] if stamps else ""
        message = f"{where}: found {found!r} for the first time stamp; wanted a stamp as declared, {unit!r}; correct units.time"
        raise FileFormatError(message)
    since = "midnight" if start == NO_DAY else f"{np.datetime_as_string(start, 'D')} 00:00:00"
    return Layout(path, dialect, unit, start, (*notes, f"time stamps counted in seconds from {since}"))


def _first_cells(dialect: Dialect) -> list[str]:
    """Time stamps of the first rows."""
    lines = dialect.head[dialect.characters :].splitlines()[: ASKED_ROWS + 1]
    if len(dialect.head) >= HEAD_BYTES // 4:
        lines = lines[:-1] or lines  # the last one may be cut
    rows = (fields_of(line, dialect.delimiter) for line in lines[:ASKED_ROWS])
    return [row[dialect.numbers[0]] for row in rows if len(row) == len(dialect.header)]


def _scan(layout: Layout) -> tuple[int, int, str]:
    """Count delimiters and line ends before the last line, and return the last line that is not blank.

    Counting bytes costs a small part of parsing and finds every row with a field too few or too many.
    """
    delimiters, ends, tail = _scan_text(layout) if layout.is_wide else _scan_bytes(layout)
    text = tail.rstrip("\r\n")
    return delimiters, ends - tail.count("\n", len(text)), tail[text.rfind("\n") + 1 :]


def _scan_bytes(layout: Layout) -> tuple[int, int, str]:
    delimiters = ends = 0
    block = np.empty(BLOCK_BYTES, dtype=np.uint8)
    with layout.path.open("rb") as file:
        while count := file.readinto(block.data):
            delimiters += int(np.count_nonzero(block[:count] == ord(layout.dialect.delimiter)))
            more = int(np.count_nonzero(block[:count] == ord("\n")))
            if not more and count == BLOCK_BYTES:
                _refuse_long_line(layout, bytes(block).count(b"\r"), ends)
            ends += more
        file.seek(max(0, layout.path.stat().st_size - HEAD_BYTES))
        return delimiters, ends, file.read().decode(layout.dialect.encoding, "replace")


def _is_even(layout: Layout) -> bool:
    """Tell whether every line of the table has as many delimiters as the header, or is blank."""
    if layout.is_wide:
        return False
    wanted, carried = len(layout.header) - 1, 0
    above = layout.dialect.head[: layout.dialect.characters].encode(layout.dialect.encoding)
    with layout.path.open("rb") as file:
        file.seek(len(above))
        while block := file.read(BLOCK_BYTES):
            raw = np.frombuffer(block, dtype=np.uint8)
            marks = np.flatnonzero(raw == ord(layout.dialect.delimiter))
            ends = np.searchsorted(marks, np.flatnonzero(raw == ord("\n")))
            counts = np.diff(ends, prepend=-carried)
            if not np.isin(counts, (0, wanted)).all():
                return False
            carried = len(marks) - int(ends[-1]) if len(ends) else carried + len(marks)
    return carried in {0, wanted}


def _scan_text(layout: Layout) -> tuple[int, int, str]:
    delimiters = ends = 0
    tail = ""
    with layout.path.open(encoding=layout.dialect.encoding, errors="replace", newline="") as file:
        for block in iter(partial(file.read, BLOCK_BYTES), ""):
            delimiters += block.count(layout.dialect.delimiter)
            more = block.count("\n")
            if not more and len(block) == BLOCK_BYTES:
                _refuse_long_line(layout, block.count("\r"), ends)
            ends += more
            tail = (tail + block)[-HEAD_BYTES:]
    return delimiters, ends, tail


def _refuse_long_line(layout: Layout, returns: int, ends: int) -> None:
    if not returns:
        message = f"{layout.where}: line {ends + 1} is longer than {BLOCK_BYTES} bytes; wanted a row of numbers; copy the file again"
        raise FileFormatError(message)


def _parsed(layout: Layout, rows: int | None, length: int | None) -> Iterator[pd.DataFrame]:
    import pandas as pd

    # Columns go by their place, written out: pandas takes whole numbers as keys for other things.
    wanted = [str(number) for number in layout.numbers]
    stamps = {} if layout.start is None else {wanted[0]: str}
    options: dict[str, Any] = {
        "sep": layout.dialect.delimiter,
        "decimal": layout.dialect.decimal,
        "header": None,
        "names": [str(number) for number in range(len(layout.header))],
        "usecols": wanted,
        "dtype": dict.fromkeys(wanted, np.float64) | stamps,
        "index_col": False,
        "nrows": rows,
        "keep_default_na": False,
        "na_values": MISSING,
        "skipinitialspace": True,
    }
    # A file cut off inside a character ends with a mark that is no number.
    with layout.rows("replace" if layout.is_wide else "strict") as file:
        if length is None:
            yield pd.read_csv(file, **options)
            return
        with pd.read_csv(file, chunksize=length, **options) as reader:
            yield from reader


def _samples(layout: Layout, table: pd.DataFrame, notes: tuple[str, ...], *, timeless: bool) -> Samples:
    names = [str(number) for number in layout.numbers]
    time = None if timeless else _time(layout, table[names.pop(0)])
    acceleration, angular_velocity = (
        np.asfortranarray(table[three].to_numpy()) for three in (names[:3], names[3:])
    )
    return Samples(time, acceleration, angular_velocity, notes)


def _time(layout: Layout, column: pd.Series[Any]) -> NDArray[np.float64]:
    if layout.start is None:
        return column.to_numpy(copy=True)
    stamps = seconds(column, str(layout.time_unit), layout.start)
    if (np.isnan(stamps) & column.notna().to_numpy()).any():
        _refuse_first_fault(layout)
        message = f"{layout.where}: a time stamp that is none; wanted {layout.time_unit!r} in every row; repair the column"
        raise FileFormatError(message)
    return stamps


def _refuse_first_fault(layout: Layout, *, is_cut: bool = False) -> int:
    """Raise for the first row with a wrong number of fields or a cell that is not what its column wants; else count the rows.

    A last line that is cut is no row.
    """
    above, count = layout.dialect.lines, 0
    with layout.rows("replace") as file:
        lines = csv.reader(file, delimiter=layout.dialect.delimiter, skipinitialspace=True)
        rows = ((fields, above + lines.line_num) for fields in lines if fields)
        try:
            for row in (row for row, _ in itertools.pairwise(rows)) if is_cut else rows:
                _refuse_row(layout, *row)
                count += 1
        except csv.Error as error:
            message = f"{layout.where}: line {above + lines.line_num}: {error}; repair or delete the line"
            raise FileFormatError(message) from error
    return count


def _refuse_row(layout: Layout, row: list[str], line: int) -> None:
    extra = row[len(layout.header) :]
    if len(row) < len(layout.header) or any(field.strip() for field in extra):
        message = (
            f"{layout.where}: line {line} has {len(row)} fields; wanted {len(layout.header)} "
            "as in the header; repair or delete the line"
        )
        raise FileFormatError(message)
    for number in layout.numbers:
        if not layout.is_cell(number, row[number].strip()):
            raise FileFormatError(_bad_cell(layout, line, layout.header[number], row[number]))


def _bad_cell(layout: Layout, line: int, name: str, cell: str) -> str:
    hint = "correct or empty the cell"
    if layout.dialect.decimal == "." and NUMBER.fullmatch(cell.strip().replace(",", ".")):
        hint = "this looks like a decimal comma: declare decimal = ','"
    elif layout.dialect.decimal == "," and NUMBER.fullmatch(cell.strip()):
        hint = "this looks like a decimal point: declare decimal = '.'"
    return f"{layout.where}: line {line}, column {shown(name)}: found {cell[:40]!r}; wanted a number; {hint}"


FORMAT = Format(name="delimited text", suffixes=(".csv", ".tsv", ".txt"), read=read, read_blocks=read_blocks)
