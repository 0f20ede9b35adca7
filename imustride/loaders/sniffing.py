"""The columns of a text file of which nothing is declared."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from imustride.loaders.date_times import order_of
from imustride.loaders.dialect import (
    ASKED_ROWS,
    COMMA_NUMBER,
    MISSING,
    NUMBER,
    delimiters,
    fields_of,
    head_lines,
    read_head,
)

if TYPE_CHECKING:
    from pathlib import Path


@dataclass(frozen=True, slots=True)
class Sniffed:
    """Names of the columns, and the cells of the first rows below them, a row of units among them."""

    header: list[str]
    rows: list[list[str]]

    def below(self, name: str) -> str:
        """Cell right below a name, empty where it is a number."""
        cell = self.cells(name)[:1]
        return "" if not cell or _is_number(cell[0]) else cell[0]

    def cells(self, name: str) -> list[str]:
        """Cells below a name."""
        number = self.header.index(name)
        return [row[number] for row in self.rows if len(row) > number]

    def order_of_stamps(self, name: str) -> str | None:
        """Tell how the date-times of a column are written; see `date_times.order_of`."""
        cells = self.cells(name)
        return order_of(cells[1:] if self.below(name) and order_of(cells[:1]) is None else cells)


def sniff(path: Path) -> Sniffed:
    """Find the header of a text file of which nothing is declared.

    It is the last line of words above the first two lines of as many numbers; where there is none, the line of most fields.

    Raises
    ------
    FileFormatError
        If the file is empty, or no text.
    """
    where = f"{path.parent.name}/{path.name}"
    head, _, _ = read_head(path, where, None)
    lines = list(head_lines(head, where))
    tables = [[fields_of(line, mark) for line in lines if line.strip()] for mark in delimiters(path, None)]
    found = [(table, at) for table in tables if (at := _header(table)) is not None]
    if not found:
        every = [row for table in tables for row in table]
        return Sniffed(max(every, key=len), [])
    table, at = max(found, key=lambda one: len(one[0][one[1]]))
    return Sniffed(table[at], table[at + 1 : at + 1 + ASKED_ROWS])


def _header(table: list[list[str]]) -> int | None:
    """Place of the header: the first of the lines of words right above two rows of mostly numbers, equally long."""
    numeric = [len(row) > 1 and 2 * sum(map(_is_number, row)) > len(row) for row in table]
    for at, (one, other) in enumerate(pairwise(numeric)):
        if one and other and at:
            width = len(table[at])
            above = at
            while above and at - above < 2 and not numeric[above - 1] and len(table[above - 1]) == width:
                above -= 1
            return above if above < at else None
    return None


def _is_number(cell: str) -> bool:
    return cell in MISSING or NUMBER.fullmatch(cell) is not None or COMMA_NUMBER.fullmatch(cell) is not None
