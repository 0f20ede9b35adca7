"""How a text file is written: encoding, delimiter, decimal, what stands above the table, units in its header.

What the session declares is taken as it says. The rest is found from the first bytes, used only where nothing else
fits, and told in the notes; what could be read in two ways is left as usual, and refused where that does not fit.
"""

from __future__ import annotations

import codecs
import csv
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from imustride.errors import FileFormatError, shown
from imustride.loaders.date_times import is_date_time
from imustride.loaders.header_units import bare, is_unit_row, said_unit

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path

    from imustride.session import Sensor

# What loggers write for "no value", also with a blank behind it.
MISSING = tuple(
    text + end for text in ("", "nan", "NaN", "NAN", "NA", "N/A", "n/a", "null") for end in ("", " ")
)
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|[+-]?inf(inity)?", re.IGNORECASE)
COMMA_NUMBER = re.compile(r"[+-]?(\d+,\d*|,\d+)([eE][+-]?\d+)?")
POINT_NUMBER = re.compile(r"[+-]?(\d+\.\d*|\.\d+)([eE][+-]?\d+)?")
LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n|\Z)")
# A header further down or longer than this is none, and a last line longer than this is not a row.
HEAD_BYTES = 65536
HEAD_LINES = 300
# Rows that tell the decimal.
ASKED_ROWS = 50
MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


@dataclass(frozen=True, slots=True)
class Column:
    """A column that is wanted: its quantity, its name as declared, the unit declared (None: none)."""

    kind: str
    name: str
    unit: str | None


@dataclass(frozen=True, slots=True)
class Dialect:
    """How a text file is written.

    Parameters
    ----------
    delimiter, decimal, encoding : str
    header : list of str
        Names of the columns.
    units : list of str
        Cells of the row of units below them, empty without one.
    numbers : list of int
        Places of the wanted columns, in order of use.
    lines, characters : int
        Lines and characters of the file above its first row.
    head : str
        The first part of the file.
    notes : tuple of str
        What was found and nowhere declared.
    """

    delimiter: str
    decimal: str
    encoding: str
    header: list[str]
    units: list[str]
    numbers: list[int]
    lines: int
    characters: int
    head: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A header line found in the first part of a file."""

    delimiter: str
    above: int
    header: list[str]
    numbers: list[int]


def wanted_columns(sensor: Sensor, where: str) -> list[Column]:
    """Columns that a sensor declares, in order of use.

    Raises
    ------
    FileFormatError
        If three numbers are declared as one dataset.
    """
    columns, units = sensor.columns, sensor.units
    wanted = [] if columns.time is None else [Column("time", columns.time, units.time)]
    for kind, names, unit in (
        ("acceleration", columns.acceleration, units.acceleration),
        ("angular velocity", columns.angular_velocity, units.angular_velocity),
    ):
        if names is None or isinstance(names, str):
            message = f"{where}: found columns {names!r}; wanted three header names, a text file has one column a number"
            raise FileFormatError(message)
        wanted += [Column(kind, name, unit) for name in names]
    return wanted


def find_dialect(path: Path, where: str, sensor: Sensor) -> Dialect:
    """Find how a file is written, as far as the session does not declare it.

    Parameters
    ----------
    path : Path
    where : str
        The file as messages name it.
    sensor : Sensor
        Declared columns, units, delimiter, decimal and encoding.

    Raises
    ------
    FileFormatError
        If the file is empty or binary, has no header with the declared columns, its header contradicts a declared
        unit.
    """
    wanted = wanted_columns(sensor, where)
    head, encoding, notes = read_head(path, where, sensor.encoding)
    lines = list(head_lines(head, where))
    table = _table(lines, delimiters(path, sensor.delimiter), wanted, where)
    if sensor.delimiter is None and table.delimiter != usual_delimiter(path):
        notes.append(f"delimiter {table.delimiter!r}")
    if any(line.strip() for line in lines[: table.above]):
        notes.append(f"{table.above} line{'s' if table.above > 1 else ''} above the header")
    last = table.above + 1
    units: list[str] = []
    if last < len(lines):
        cells = fields_of(lines[last], table.delimiter)
        if len(cells) > max(table.numbers) and is_unit_row(
            [column.kind for column in wanted], [cells[number] for number in table.numbers]
        ):
            units, last = [cell.strip(" ()[]{}<>") for cell in cells], last + 1
            notes.append("a row of units below the header")
    _refuse_other_units(table, wanted, units, where)
    rows = (fields_of(line, table.delimiter) for line in lines[last : last + ASKED_ROWS])
    decimal = sensor.decimal or _decimal(_number_cells(rows, wanted, table.numbers))
    if sensor.decimal is None and decimal == ",":
        notes.append("decimal comma")
    return Dialect(
        table.delimiter,
        decimal,
        encoding,
        table.header,
        units,
        table.numbers,
        last,
        sum(map(len, lines[:last])),
        head,
        (f"read as found: {', '.join(notes)}",) if notes else (),
    )


def usual_delimiter(path: Path) -> str:
    """Delimiter that a file's ending stands for."""
    return "\t" if path.suffix.lower() == ".tsv" else ","


def delimiters(path: Path, declared: str | None) -> list[str]:
    """Delimiters that a file may have."""
    if declared is not None:
        return [declared]
    usual = usual_delimiter(path)
    return [usual, *(mark for mark in ",;\t" if mark != usual)]


def fields_of(line: str, delimiter: str) -> list[str]:
    """Split a line."""
    try:
        return [field.strip() for field in next(csv.reader([line.rstrip("\r\n")], delimiter=delimiter), [])]
    except csv.Error:  # a quote is open, or a field is longer than any number
        return [field.strip() for field in line.rstrip("\r\n").split(delimiter)]


def read_head(path: Path, where: str, declared: str | None) -> tuple[str, str, list[str]]:
    """Read the first part of a file as text.

    Returns
    -------
    head : str
        Without a byte-order mark.
    encoding : str
        That reads the file from its beginning, the mark left out.
    notes : list of str
        Encoding, where it is not declared and not the usual one.

    Raises
    ------
    FileFormatError
        If the bytes are no text of the encoding.
    """
    with path.open("rb") as file:
        raw = file.read(HEAD_BYTES)
    marked = next((name for mark, name in MARKS if raw.startswith(mark)), None)
    found = marked or _unmarked(raw)
    notes = [] if declared or found in {"utf-8", "utf-8-sig"} else [found.upper()]
    encoding = found if declared is None else codecs.lookup(declared).name
    if declared is not None and marked is not None:
        if not encoding.startswith(marked.removesuffix("-sig")):
            message = f"{where}: not {declared} text: it begins with the mark of {marked.removesuffix('-sig').upper()}; correct or remove encoding in session.toml"
            raise FileFormatError(message)
        encoding = marked
    try:
        text = codecs.getincrementaldecoder(encoding)().decode(
            raw, final=len(raw) < HEAD_BYTES and not _is_wide(encoding)
        )
    except UnicodeError as error:
        message = f"{where}: not {encoding.removesuffix('-sig')} text ({error}); declare the file's encoding in session.toml"
        raise FileFormatError(message) from error
    return text.removeprefix("\ufeff"), encoding, notes


def _is_wide(encoding: str) -> bool:
    """Whether a file cut off by an empty battery may end inside a character, and still be read."""
    return encoding.startswith(("utf-16", "utf-32"))


def _unmarked(raw: bytes) -> str:
    """Encoding without a mark: UTF-16 where every second byte of the first ones is zero, else UTF-8."""
    first = raw[:256]
    if len(first) >= 8:
        for name, high in (("utf-16-le", 1), ("utf-16-be", 0)):
            if not any(first[high::2]) and all(first[1 - high :: 2]):
                return name
    return "utf-8"


def head_lines(head: str, where: str) -> Iterator[str]:
    """Give the first lines with their ends; the last one may be cut.

    Raises
    ------
    FileFormatError
        If there are none, or what is there is no text.
    """
    if not head.strip():
        message = f"{where}: empty file ({len(head)} bytes); wanted a header line and samples; copy it again"
        raise FileFormatError(message)
    first = head.lstrip()[:HEAD_BYTES]
    if "\0" in first[: (first + "\n").index("\n")]:
        message = f"{where}: binary data; wanted text; declare the encoding, or convert the file"
        raise FileFormatError(message)
    for count, match in enumerate(LINE.finditer(head)):
        if count >= HEAD_LINES or not match[0]:
            return
        yield match[0]


def _table(lines: list[str], marks: list[str], wanted: list[Column], where: str) -> Table:
    """Find the first line that names every wanted column, exactly or without the unit behind the name."""
    nearest: tuple[int, int, list[str]] = (-1, 0, [])
    for above, line in enumerate(lines):
        for mark in marks:
            header = fields_of(line, mark)
            places = [_places(column.name, header) for column in wanted]
            if all(len(found) == 1 for found in places):
                return Table(mark, above, header, [found[0] for found in places])
            near = (sum(bool(found) for found in places), len(header))
            if near > nearest[:2]:
                nearest = (*near, header)
    header = nearest[2]
    missing = [column.name for column in wanted if not _places(column.name, header)]
    repeated = [column.name for column in wanted if len(_places(column.name, header)) > 1]
    wrong = (
        f"column {', '.join(missing)} not found" if missing else f"column {', '.join(repeated)} found twice"
    )
    message = f"{where}: {wrong}; {_described(header)}; correct [columns] in session.toml"
    raise FileFormatError(message)


def _places(name: str, header: list[str]) -> list[int]:
    exact = [number for number, found in enumerate(header) if found == name]
    return exact or [number for number, found in enumerate(header) if bare(found) == name]


def _described(header: list[str]) -> str:
    """The header in words, with a guess at what went wrong; other people's text, so made printable."""
    names = [shown(name) for name in header[:30]]
    told = f"the file has {', '.join(names)}" + (f" and {len(header) - 30} more" if len(header) > 30 else "")
    if len(header) == 1:
        for delimiter, word in ((";", "';'"), ("\t", "tab ('\\t')"), (",", "','")):
            if delimiter in header[0]:
                return f"{told}; this looks delimited by {word}: correct or remove delimiter"
    if all(NUMBER.fullmatch(name) for name in header):
        return f"{told}; the first line holds numbers, wanted a header line: add one"
    return told


def _refuse_other_units(table: Table, wanted: list[Column], units: list[str], where: str) -> None:
    for column, number in zip(wanted, table.numbers, strict=True):
        below = units[number] if units else ""
        written, unit = said_unit(column.kind, table.header[number], below)
        if unit is None or column.unit is None or unit == column.unit:
            continue
        message = (
            f"{where}: column {shown(table.header[number])}: the header says {written!r}, declared is "
            f"{column.unit!r}; correct [units] in session.toml, or the header"
        )
        raise FileFormatError(message)


def _number_cells(rows: Iterable[list[str]], wanted: list[Column], numbers: list[int]) -> list[str]:
    """Cells of the wanted columns, without date-times."""
    numeric = [
        number
        for column, number in zip(wanted, numbers, strict=True)
        if column.kind != "time" or not is_date_time(column.unit)
    ]
    return [row[number] for row in rows for number in numeric if number < len(row)]


def _decimal(cells: list[str]) -> str:
    """Decimal comma where no number has a point; a cell of the other kind further down is refused with its line."""
    has_comma = any(COMMA_NUMBER.fullmatch(cell) for cell in cells)
    return "," if has_comma and not any(POINT_NUMBER.fullmatch(cell) for cell in cells) else "."
