"""The text of a list: encoding, delimiter and decimal mark, declared or found and told."""

from __future__ import annotations

import codecs
import csv
from dataclasses import dataclass
from typing import TYPE_CHECKING

from imustride.errors import FileFormatError

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path

# A list of a thousand runs has some 100 kB; more than this is another file by mistake.
MAX_BYTES = 1_000_000
DELIMITERS = {",": "','", ";": "';'", "\t": "tabs"}


@dataclass(frozen=True, slots=True)
class Table:
    """Cells of a list, as text.

    Parameters
    ----------
    header : list of str
    rows : list of (int, list of str)
        Line number in the file and cells, stripped; empty lines are left out.
    decimal_comma : bool
        Whether numbers may be written with a comma.
    notes : tuple of str
        What was found and not declared.
    """

    header: list[str]
    rows: list[tuple[int, list[str]]]
    decimal_comma: bool
    notes: tuple[str, ...]


def read_table(path: Path, known: Collection[str], delimiter: str | None, encoding: str | None) -> Table:
    """Read a delimited list.

    Parameters
    ----------
    path : Path
    known : collection of str
        Column names that show which delimiter is meant.
    delimiter, encoding : str or None
        As declared; None: found out (comma, semicolon, tab) and told, UTF-8.

    Raises
    ------
    FileFormatError
        If the file is missing, too large, no text in this encoding, or empty.
    """
    text, notes = _text(path, encoding)
    lines = text.splitlines()
    first = next((line for line in lines if line.strip()), "")
    if not first:
        message = f"{path.name}: empty file; wanted a header line and a line a run; save the list again"
        raise FileFormatError(message)
    if delimiter is None:
        counts = {mark: len(set(known) & set(_split(first, mark))) for mark in DELIMITERS}
        delimiter = max(counts, key=lambda mark: counts[mark])
        if delimiter != ",":
            notes = (*notes, f"{path.name}: columns are parted by {DELIMITERS[delimiter]}")
    reader = csv.reader(lines, delimiter=delimiter)
    try:
        rows = [
            (reader.line_num, [cell.strip() for cell in row]) for row in reader if any(map(str.strip, row))
        ]
    except csv.Error as error:  # a cell longer than any could be
        message = f"{path.name}, line {reader.line_num}: {error}; repair the line"
        raise FileFormatError(message) from error
    if not rows:
        message = (
            f"{path.name}: no cell with text; wanted a header line and a line a run; save the list again"
        )
        raise FileFormatError(message)
    return Table([name.casefold() for name in rows[0][1]], rows[1:], delimiter != ",", notes)


def _text(path: Path, encoding: str | None) -> tuple[str, tuple[str, ...]]:
    if not path.is_file() or path.stat().st_size > MAX_BYTES:
        found = f"{path.stat().st_size} bytes" if path.is_file() else "no such file"
        message = f"{path.name}: {found}; wanted the day's list, a .csv file below {MAX_BYTES} bytes"
        raise FileFormatError(message)
    raw = path.read_bytes()
    notes: tuple[str, ...] = ()
    if encoding is None and raw.startswith(codecs.BOM_UTF8):
        notes = (f"{path.name}: begins with a byte order mark, passed over",)
    try:
        text = raw.decode(encoding or "utf-8-sig")
    except (UnicodeError, LookupError) as error:
        message = (
            f"{path.name}: not {encoding or 'UTF-8'} text ({error}); save it as UTF-8, or give --encoding"
        )
        raise FileFormatError(message) from error
    if "\0" in text:
        message = (
            f"{path.name}: binary data; wanted a list as text; save it as .csv in UTF-8, or give --encoding"
        )
        raise FileFormatError(message)
    return text, notes


def _split(line: str, delimiter: str) -> list[str]:
    return [name.strip().casefold() for name in next(csv.reader([line], delimiter=delimiter))]
