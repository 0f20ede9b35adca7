"""Times of a timing system: ``position_m,time_s``, one row a gate.

In the events of a Motion-BIDS dataset (``_events.tsv``) they are the rows whose ``trial_type`` is ``gate``.
"""

from __future__ import annotations

import csv
import math
from typing import TYPE_CHECKING

import numpy as np

from imustride.errors import FileFormatError, shown

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

COLUMNS = ("position_m", "time_s")
KIND = "trial_type"
# A hundred gates have some 2 kB, the events of a long run 20; more than this is another file by mistake.
MAX_BYTES = 100_000


def read_gates(path: Path) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Read the gates of a run.

    Parameters
    ----------
    path : Path

    Returns
    -------
    position_m : ndarray, shape (n,)
        Along the lane from the first gate on [m], rising.
    time_s : ndarray, shape (n,)
        From the first gate, on the timing system's clock [s], rising.

    Raises
    ------
    FileFormatError
        If the file is missing, has other columns, fewer than two gates, text for a number, or
        gates out of order.
    """
    where = f"{path.parent.name}/{path.name}"
    if not path.is_file() or path.stat().st_size > MAX_BYTES:
        found = f"{path.stat().st_size} bytes" if path.is_file() else "no such file"
        message = f"{where}: {found}; wanted a file of gates with {','.join(COLUMNS)}; correct `gates` in session.toml"
        raise FileFormatError(message)
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except UnicodeDecodeError as error:
        message = f"{where}: not UTF-8 text at byte {error.start}; save the file as UTF-8"
        raise FileFormatError(message) from error
    is_events = path.suffix.lower() == ".tsv"
    rows = [
        [cell.strip() for cell in row]
        for row in csv.reader(lines, delimiter="\t" if is_events else ",")
        if any(cell.strip() for cell in row)
    ]
    header = rows[0] if rows else []
    if is_events and KIND in header:
        rows = [header, *(row for row in rows[1:] if "gate" in row[header.index(KIND) :][:1])]
    if any(header.count(name) != 1 for name in COLUMNS):
        message = f"{where}: found columns {shown(', '.join(header), 200) or 'none'}; wanted {','.join(COLUMNS)}; correct the header"
        raise FileFormatError(message)
    position_m, time_s = (
        np.array(
            [_number(row, header.index(name), name, line, where) for line, row in enumerate(rows[1:], 2)]
        )
        for name in COLUMNS
    )
    if len(time_s) < 2 or (np.diff(position_m) <= 0).any() or (np.diff(time_s) <= 0).any():
        message = f"{where}: found {len(time_s)} gates; wanted at least two, rising in position and time; correct the rows"
        raise FileFormatError(message)
    return position_m, time_s


def _number(row: list[str], column: int, name: str, line: int, where: str) -> float:
    cell = row[column] if column < len(row) else ""
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        message = (
            f"{where}: line {line}, column {name}: found {cell[:40]!r}; wanted a number; correct the cell"
        )
        raise FileFormatError(message)
    return value
