"""Delimited text (CSV, TSV): a header line, then one row a sample; read strictly.

pandas turns a column with one bad cell into text, fills short rows with NaN and reads a file with
the wrong delimiter as one text column, all without an error. Here every such file is refused with
the line and the cell; only a cut last line, the mark of a logger that lost power, is left out.
"""

from __future__ import annotations

import codecs
import csv
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.errors import FileFormatError
from imustride.loaders.samples import Samples
from imustride.registry import Format

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    import pandas as pd

    from imustride.session import Sensor

# What loggers write for "no value", also with a blank behind it.
MISSING = tuple(
    text + end for text in ("", "nan", "NaN", "NAN", "NA", "N/A", "n/a", "null") for end in ("", " ")
)
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|[+-]?inf(inity)?", re.IGNORECASE)
# A header longer than this is not a header, and a last line longer than this is not a row.
MAX_LINE_BYTES = 65536
BLOCK_BYTES = 1 << 18


@dataclass(frozen=True, slots=True)
class Layout:
    """How a text file is written and which of its columns are wanted, in order of use."""

    path: Path
    delimiter: str
    decimal: str
    encoding: str
    header: list[str]
    wanted: list[str]

    @property
    def where(self) -> str:
        """The file as messages name it."""
        return f"{self.path.parent.name}/{self.path.name}"

    @property
    def numbers(self) -> list[int]:
        """Column numbers in the file, in order of use."""
        return [self.header.index(name) for name in self.wanted]

    @property
    def is_wide(self) -> bool:
        """Whether delimiters and line ends are no single bytes (UTF-16, UTF-32, a delimiter like §)."""
        return f"{self.delimiter}\n".encode(self.encoding) != bytes(
            (min(ord(self.delimiter), 127), ord("\n"))
        )

    def fields(self, line: str) -> list[str]:
        """Split a line."""
        return [
            field.strip() for field in next(csv.reader([line.rstrip("\r\n")], delimiter=self.delimiter), [])
        ]

    def is_cut(self, last: str) -> bool:
        """Tell whether the last line lacks fields, or ends inside a number without a line end."""
        fields = self.fields(last)
        if len(fields) < len(self.header):
            return True
        return not last.endswith("\n") and not all(self.is_number(fields[number]) for number in self.numbers)

    def is_number(self, field: str) -> bool:
        """Tell whether a field is a number, or one of the words for a missing one."""
        if self.decimal != ".":
            field = field.replace(".", "?").replace(self.decimal, ".")
        return field in MISSING or NUMBER.fullmatch(field) is not None


def read(path: Path, group: str | None, sensor: Sensor) -> Samples:
    """Read the declared columns of a delimited text file.

    Parameters
    ----------
    path : Path
    group : None
        Text files have no groups.
    sensor : Sensor
        Declared columns, delimiter (default: comma, tab in .tsv), decimal and encoding (UTF-8).

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
    """What a first look at the bytes tells: how many delimiters a whole file has, and what to leave out."""

    delimiters: int
    count: int | None
    notes: tuple[str, ...]


def _refuse_group(layout: Layout, group: str | None) -> None:
    if group is not None:
        message = f"{layout.where}: a text file has no group; found '#{group}'; remove it from session.toml"
        raise FileFormatError(message)


def _rows(layout: Layout) -> Rows:
    delimiters, rows, last = _scan(layout)
    fields = layout.fields(last)
    if not (rows > 1 and layout.is_cut(last)):
        return Rows(delimiters, None, ())
    note = (
        f"the last line is cut off and was left out: {len(fields)} fields, {len(layout.header)} in the header"
    )
    return Rows(delimiters - (len(fields) - 1), rows - 1, (note,))


def _tables(layout: Layout, rows: Rows, length: int | None = None) -> Iterator[pd.DataFrame]:
    """Give the file as one table, or in blocks of `length` rows; refuse what is no table."""
    count = 0
    try:
        for table in _parsed(layout, rows.count, length):
            count += len(table)
            if len(table):
                yield table
    except (ValueError, UnicodeError) as error:  # pandas' own ParserError is a ValueError
        _refuse_first_fault(layout)
        message = f"{layout.where}: cannot be read as a table: {error}; check delimiter, decimal and encoding"
        raise FileFormatError(message) from error
    if rows.delimiters != (count + 1) * (len(layout.header) - 1):
        _refuse_first_fault(layout)
    if not count:
        message = f"{layout.where}: a header but no rows; wanted samples; copy the file from the sensor again"
        raise FileFormatError(message)


def _layout(path: Path, sensor: Sensor) -> Layout:
    delimiter = sensor.delimiter or ("\t" if path.suffix.lower() == ".tsv" else ",")
    encoding = sensor.encoding or "utf-8"
    columns, where = sensor.columns, f"{path.parent.name}/{path.name}"
    wanted = [] if columns.time is None else [columns.time]
    for names in (columns.acceleration, columns.angular_velocity):
        if names is None or isinstance(names, str):
            message = f"{where}: found columns {names!r}; wanted three header names, a text file has one column a number"
            raise FileFormatError(message)
        wanted += names
    header = _header(path, where, delimiter, encoding)
    missing = [name for name in wanted if name not in header]
    repeated = [name for name in wanted if header.count(name) > 1]
    if missing or repeated:
        wrong = (
            f"column {', '.join(missing)} not found"
            if missing
            else f"column {', '.join(repeated)} found twice"
        )
        message = f"{where}: {wrong}; {_described(header)}; correct [columns] in session.toml"
        raise FileFormatError(message)
    return Layout(path, delimiter, sensor.decimal or ".", encoding, header, wanted)


def _header(path: Path, where: str, delimiter: str, encoding: str) -> list[str]:
    with path.open("rb") as file:
        head = file.read(MAX_LINE_BYTES)
    try:
        text = codecs.getincrementaldecoder(encoding)().decode(head, final=len(head) < MAX_LINE_BYTES)
    except UnicodeError as error:
        message = f"{where}: not {encoding} text ({error}); declare the file's encoding in session.toml"
        raise FileFormatError(message) from error
    text = text.removeprefix("\ufeff")
    first = next((line for line in re.split(r"[\r\n]+", text) if line.strip()), "")
    if not first:
        message = f"{where}: empty file ({path.stat().st_size} bytes); wanted a header line and samples; copy it again"
        raise FileFormatError(message)
    if "\0" in first:
        message = f"{where}: binary data; wanted {encoding} text; declare the encoding, or convert the file"
        raise FileFormatError(message)
    return [name.strip() for name in next(csv.reader([first], delimiter=delimiter), [])]


def sniff(path: Path) -> tuple[list[str], dict[str, str]]:
    """Header names of a text file of which nothing is declared, with its likely delimiter and decimal.

    Raises
    ------
    FileFormatError
        If the file is empty, or no UTF-8 text.
    """
    where = f"{path.parent.name}/{path.name}"
    headers = {delimiter: _header(path, where, delimiter, "utf-8") for delimiter in ";\t,"}
    delimiter = max(headers, key=lambda mark: len(headers[mark]))
    with path.open(encoding="utf-8", errors="replace") as file:
        rows = [file.readline(MAX_LINE_BYTES) for _ in range(2)]
    has_comma = delimiter != "," and re.search(r"\d,\d", rows[1]) is not None
    return headers[delimiter], {"delimiter": delimiter, "decimal": "," if has_comma else "."}


def _described(header: list[str]) -> str:
    """The header in words, with a guess at what went wrong; other people's text, so made printable."""
    names = ["".join(c for c in name if c.isprintable())[:40] for name in header]
    shown = f"the file has {', '.join(names[:30])}" + (
        f" and {len(names) - 30} more" if len(names) > 30 else ""
    )
    if len(header) == 1:
        for delimiter, word in ((";", "';'"), ("\t", "tab ('\\t')"), (",", "','")):
            if delimiter in header[0]:
                return f"{shown}; this looks delimited by {word}: declare delimiter"
    if all(NUMBER.fullmatch(name) for name in names):
        return f"{shown}; the first line holds numbers, wanted a header line: add one"
    return shown


def _scan(layout: Layout) -> tuple[int, int, str]:
    """Count delimiters and rows (lines behind the header), and return the last line that is not blank.

    Counting bytes costs a small part of parsing and finds every row with a field too few or too many.
    """
    if layout.is_wide:
        return -1, 0, ""
    delimiters = ends = 0
    block = np.empty(BLOCK_BYTES, dtype=np.uint8)
    with layout.path.open("rb") as file:
        while count := file.readinto(block.data):
            delimiters += int(np.count_nonzero(block[:count] == ord(layout.delimiter)))
            ends += int(np.count_nonzero(block[:count] == ord("\n")))
        file.seek(max(0, layout.path.stat().st_size - MAX_LINE_BYTES))
        tail = file.read().decode(layout.encoding, "replace")
    text = tail.rstrip("\r\n")
    return delimiters, ends - tail.count("\n", len(text)), tail[text.rfind("\n") + 1 :]


def _parsed(layout: Layout, rows: int | None, length: int | None) -> Iterator[pd.DataFrame]:
    import pandas as pd

    options: dict[str, Any] = {
        "sep": layout.delimiter,
        "decimal": layout.decimal,
        "encoding": layout.encoding,
        "header": 0,
        "usecols": layout.numbers,
        "dtype": np.float64,
        "index_col": False,
        "nrows": rows,
        "keep_default_na": False,
        "na_values": MISSING,
        "skipinitialspace": True,
    }
    if length is None:
        yield pd.read_csv(layout.path, **options)
        return
    with pd.read_csv(layout.path, chunksize=length, **options) as reader:
        yield from reader


def _samples(layout: Layout, table: pd.DataFrame, notes: tuple[str, ...], *, timeless: bool) -> Samples:
    table.columns = [layout.header[number] for number in sorted(layout.numbers)]
    names = list(layout.wanted)
    time = None if timeless else table.pop(names.pop(0)).to_numpy(copy=True)
    acceleration, angular_velocity = (
        np.asfortranarray(table[three].to_numpy()) for three in (names[:3], names[3:])
    )
    return Samples(time, acceleration, angular_velocity, notes)


def _refuse_first_fault(layout: Layout) -> None:
    """Raise for the first row with a wrong number of fields or a cell that is not a number."""
    with layout.path.open(encoding=layout.encoding, errors="replace", newline="") as file:
        rows = csv.reader(file, delimiter=layout.delimiter)
        next(rows)
        for row in rows:
            if not row:
                continue
            extra = row[len(layout.header) :]
            if len(row) < len(layout.header) or any(field.strip() for field in extra):
                message = (
                    f"{layout.where}: line {rows.line_num} has {len(row)} fields; wanted {len(layout.header)} "
                    "as in the header; repair or delete the line"
                )
                raise FileFormatError(message)
            for name, number in zip(layout.wanted, layout.numbers, strict=True):
                if not layout.is_number(row[number].strip()):
                    raise FileFormatError(_bad_cell(layout, rows.line_num, name, row[number]))


def _bad_cell(layout: Layout, line: int, name: str, cell: str) -> str:
    hint = "correct or empty the cell"
    if layout.decimal == "." and NUMBER.fullmatch(cell.strip().replace(",", ".")):
        hint = "this looks like a decimal comma: declare decimal = ','"
    elif layout.decimal == "," and NUMBER.fullmatch(cell.strip()):
        hint = "this looks like a decimal point: declare decimal = '.'"
    return f"{layout.where}: line {line}, column {name}: found {cell[:40]!r}; wanted a number; {hint}"


FORMAT = Format(name="delimited text", suffixes=(".csv", ".tsv", ".txt"), read=read, read_blocks=read_blocks)
