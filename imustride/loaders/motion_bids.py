"""Motion-BIDS: a table without a header; names, types and units of its columns stand in ``_channels.tsv`` beside it.

Source: Brain Imaging Data Structure 1.11, modality motion (Jeung et al. 2024, doi 10.1038/s41597-024-03559-8). What its
official validator lets pass is refused here: a missing ``_channels.tsv``, a header row, text in the data, units that
do not belong to a channel's type.
"""

from __future__ import annotations

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

ENDING, CHANNELS = "_motion.tsv", "_channels.tsv"
MISSING = "n/a"
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?|[+-]?inf(inity)?", re.IGNORECASE)
# The units of the types of channel that are read; "counts" are no physical unit and need the device's calibration.
UNITS = {
    "ACCEL": ("m/s^2", "g", "counts"),
    "GYRO": ("rad/s", "deg/s", "counts"),
    "LATENCY": ("s", "ms", "us"),
}
COLUMNS = ("name", "component", "type", "tracked_point", "units")
# A row a channel: a whole body has some 100; more than this is another file by mistake.
MAX_CHANNELS_BYTES = 1_000_000
MAX_LINE_BYTES = 1_000_000
BLOCK_BYTES = 1 << 18
# Earlier ones, unless told, are out by a last digit now and then; what was exported must come back as it was.
EXACT_PANDAS = (3, 1)


@dataclass(frozen=True, slots=True)
class Channel:
    """One row of ``_channels.tsv``: one column of the motion file."""

    name: str
    component: str
    type: str
    tracked_point: str
    units: str


def read(path: Path, group: str | None, sensor: Sensor) -> Samples:
    """Read the declared channels of a ``_motion.tsv``.

    Parameters
    ----------
    path : Path
    group : None
        Text files have no groups.
    sensor : Sensor
        Columns are names of channels; units must be those of ``_channels.tsv``.

    Raises
    ------
    FileFormatError
        If ``_channels.tsv`` is missing or wrong, a channel is missing or of another unit, a row has a wrong number of
        fields, or a cell is not a number.
    """
    (samples,) = read_blocks(path, group, sensor, None)
    return samples


def read_blocks(path: Path, group: str | None, sensor: Sensor, length: int | None) -> Iterator[Samples]:
    """Read a ``_motion.tsv`` in blocks of `length` rows, as strictly as `read`.

    Raises
    ------
    FileFormatError
        As `read`.
    """
    where = f"{path.parent.name}/{path.name}"
    if group is not None:
        message = f"{where}: a text file has no group; found '#{group}'; remove it from session.toml"
        raise FileFormatError(message)
    channels = read_channels(path)
    wanted = _wanted(sensor, channels, where)
    rows = _checked_rows(path, channels, where)
    count = 0
    try:
        for table in _parsed(path, [channels.index(channel) for channel in wanted], length):
            count += len(table)
            yield _samples(table, timeless=sensor.columns.time is None)
    except (ValueError, UnicodeError) as error:  # pandas' own ParserError is a ValueError
        _refuse_first_fault(path, channels, where)
        message = f"{where}: cannot be read as a table: {error}; export it again"
        raise FileFormatError(message) from error
    if count != rows:  # blank lines
        _refuse_first_fault(path, channels, where)


def read_channels(motion: Path) -> list[Channel]:
    """Read the channels of a ``_motion.tsv`` from the ``_channels.tsv`` beside it.

    Raises
    ------
    FileFormatError
        If it is missing, no table, lacks a column, names a channel twice, or a unit does not fit the type.
    """
    name = motion.name[: -len(ENDING)] + CHANNELS
    path, where = motion.with_name(name), f"{motion.parent.name}/{name}"
    if not path.is_file():
        message = (
            f"{where}: no such file; wanted names and units of the columns of {motion.name}; copy it there"
        )
        raise FileFormatError(message)
    header, *rows = read_tsv(path, where) or [[]]
    missing = [column for column in COLUMNS if header.count(column) != 1]
    if missing:
        message = (
            f"{where}: column {', '.join(missing)} not found; wanted {', '.join(COLUMNS)}; correct the header"
        )
        raise FileFormatError(message)
    places = [header.index(column) for column in COLUMNS]
    channels = [Channel(*(row[place] for place in places)) for row in rows]
    names = [channel.name for channel in channels]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice or not channels:
        found = f"channel {twice[0]!r} named twice" if twice else "no channels"
        message = f"{where}: {found}; wanted one row of its own for each column of {motion.name}; correct it"
        raise FileFormatError(message)
    for channel in channels:
        allowed = UNITS.get(channel.type)
        if allowed is not None and channel.units not in allowed:
            message = (
                f"{where}: channel {channel.name}, units: found {channel.units[:40]!r}; wanted one of "
                f"{', '.join(allowed)} for type {channel.type}; correct it"
            )
            raise FileFormatError(message)
    return channels


def read_tsv(path: Path, where: str) -> list[list[str]]:
    """Read a small tab-separated table, every row as long as its header.

    Raises
    ------
    FileFormatError
        If it is too large, not UTF-8 text, or a row has a wrong number of fields.
    """
    if path.stat().st_size > MAX_CHANNELS_BYTES:
        message = f"{where}: {path.stat().st_size} bytes; wanted less than {MAX_CHANNELS_BYTES}; is it the right file?"
        raise FileFormatError(message)
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except UnicodeDecodeError as error:
        message = f"{where}: not UTF-8 text at byte {error.start}; save the file as UTF-8"
        raise FileFormatError(message) from error
    rows = [[cell.strip() for cell in line.split("\t")] for line in lines if line.strip()]
    for number, row in enumerate(rows, 1):
        if len(row) != len(rows[0]):
            message = f"{where}: row {number} has {len(row)} fields; wanted {len(rows[0])} as in the header; correct it"
            raise FileFormatError(message)
    return rows


def _wanted(sensor: Sensor, channels: list[Channel], where: str) -> list[Channel]:
    """Return the declared channels in order of use, after a look at their units."""
    columns, units = sensor.columns, sensor.units
    triads = [(columns.acceleration, units.acceleration), (columns.angular_velocity, units.angular_velocity)]
    declared: list[tuple[str, str | None]] = [] if columns.time is None else [(columns.time, units.time)]
    for names, triad_unit in triads:
        if names is None or isinstance(names, str):
            message = f"{where}: found columns {names!r}; wanted the names of three channels"
            raise FileFormatError(message)
        declared += [(name, triad_unit) for name in names]
    by_name = {channel.name: channel for channel in channels}
    missing = [name for name, _ in declared if name not in by_name]
    if missing:
        shown = ", ".join(name for name in list(by_name)[:30] if name.isprintable())
        message = f"{where}: channel {', '.join(missing)} not found; the file has {shown}; correct [columns] in session.toml"
        raise FileFormatError(message)
    for name, unit in declared:
        if by_name[name].units != unit:
            message = (
                f"{where}: channel {name} is in {by_name[name].units[:40]!r} as its {CHANNELS} says; declared is {unit}; "
                "make them agree"
            )
            raise FileFormatError(message)
    return [by_name[name] for name, _ in declared]


def _checked_rows(path: Path, channels: list[Channel], where: str) -> int:
    """Count the rows; refuse an empty file, a header row, and rows of a wrong number of fields."""
    with path.open("rb") as file:
        first = file.readline(MAX_LINE_BYTES).decode("utf-8", "replace")
        if not first.strip():
            message = f"{where}: empty file ({path.stat().st_size} bytes); wanted samples; copy it again"
            raise FileFormatError(message)
        fields = [field.strip() for field in first.split("\t")]
        if not any(_is_number(field) for field in fields):
            message = (
                f"{where}: line 1 holds text ({fields[0][:40]!r}), a header; wanted numbers, since {CHANNELS} names the "
                "columns; delete the line"
            )
            raise FileFormatError(message)
        file.seek(0)
        tabs = rows = 0
        last = b"\n"
        while block := file.read(BLOCK_BYTES):
            tabs, rows, last = tabs + block.count(b"\t"), rows + block.count(b"\n"), block[-1:]
    rows += last != b"\n"
    if tabs != rows * (len(channels) - 1):
        _refuse_first_fault(path, channels, where)
    return rows


def _parsed(path: Path, numbers: list[int], length: int | None) -> Iterator[pd.DataFrame]:
    import pandas as pd

    options: dict[str, Any] = {"na_values": [MISSING], "dtype": np.float64}
    if tuple(int(part) for part in pd.__version__.split(".")[:2]) < EXACT_PANDAS:
        options["float_precision"] = "round_trip"
    options |= {"sep": "\t", "header": None, "usecols": numbers, "keep_default_na": False, "index_col": False}
    options["quoting"] = csv.QUOTE_NONE  # a number in quotes is text here
    if length is None:
        yield pd.read_csv(path, **options)[numbers]
        return
    with pd.read_csv(path, chunksize=length, **options) as reader:
        for table in reader:
            yield table[numbers]


def _samples(table: pd.DataFrame, *, timeless: bool) -> Samples:
    values = table.to_numpy()
    first = 0 if timeless else 1
    acceleration, angular_velocity = (
        np.array(values[:, at : at + 3], order="F") for at in (first, first + 3)
    )
    return Samples(None if timeless else values[:, 0].copy(), acceleration, angular_velocity)


def _refuse_first_fault(path: Path, channels: list[Channel], where: str) -> None:
    """Raise for the first row with a wrong number of fields or a cell that is not a number."""
    with path.open(encoding="utf-8", errors="replace", newline="") as file:
        rows = csv.reader((line.replace("\0", "?") for line in file), delimiter="\t", quoting=csv.QUOTE_NONE)
        for row in rows:
            if len(row) != len(channels):
                message = (
                    f"{where}: line {rows.line_num} has {len(row)} fields; wanted {len(channels)} as in its {CHANNELS}; "
                    "repair or delete the line"
                )
                raise FileFormatError(message)
            for channel, cell in zip(channels, row, strict=True):
                if not _is_number(cell.strip()):
                    message = (
                        f"{where}: line {rows.line_num}, channel {channel.name}: found {cell[:40]!r}; wanted a number, "
                        f"or {MISSING} where it is missing; correct the cell"
                    )
                    raise FileFormatError(message)


def _is_number(cell: str) -> bool:
    return cell == MISSING or NUMBER.fullmatch(cell) is not None


FORMAT = Format(name="Motion-BIDS", suffixes=(ENDING,), read=read, read_blocks=read_blocks)
