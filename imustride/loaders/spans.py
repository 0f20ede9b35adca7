"""A span of a long file: only its rows are held, and where the format allows it only they are read."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.loaders.blocks import ROWS, sample_blocks
from imustride.loaders.samples import Samples, as_log, check_is_file, stamps_s

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from imustride.recording import SensorLog
    from imustride.registry import Format
    from imustride.session import Sensor

# Rows that are read to tell the time of one: some of them have a time of their own.
NEIGHBOURS = 64


def load_span(path: Path, group: str | None, sensor: Sensor, from_s: float, to_s: float) -> SensorLog:
    """Read the rows of a file between two times on its own clock.

    Parameters
    ----------
    path : Path
    group : str or None
        Group inside an HDF5 file.
    sensor : Sensor
        With complete columns, units and file options.
    from_s, to_s : float
        On the clock of the file [s]; may be infinite.

    Returns
    -------
    SensorLog
        Without rows where the span lies outside the file.

    Raises
    ------
    FileFormatError
        As `load_file`; faults behind the span may stay unseen.
    """
    samples, first_row = samples_between(path, group, sensor, from_s, to_s)
    return as_log(samples, path, group, sensor, first_row)


def samples_between(
    path: Path, group: str | None, sensor: Sensor, from_s: float, to_s: float
) -> tuple[Samples, int]:
    """Read the rows of a span as they are in the file; also the number of rows before them.

    Parameters and errors are those of `load_span`.
    """
    check_is_file(path)
    found: list[Samples] = []
    before = 0
    for row, block in _blocks(path, group, sensor, from_s):
        time_s = _times_s(block, sensor, row)
        inside = np.flatnonzero((time_s >= from_s) & (time_s <= to_s))
        if len(inside):
            before = before if found else row + int(inside[0])
            found.append(_rows(block, slice(int(inside[0]), int(inside[-1]) + 1)))
        elif not found:
            before = row + len(time_s)
        if np.fmin.reduce(time_s) > to_s:
            break
    return _joined(found, timeless=sensor.columns.time is None), before


def _blocks(path: Path, group: str | None, sensor: Sensor, from_s: float) -> Iterator[tuple[int, Samples]]:
    """Give blocks and their first rows, from a row before the span on where rows can be read alone."""
    from imustride.loaders import format_of

    known: Format = format_of(path)
    row = 0
    if known.read_rows is None:
        for block in sample_blocks(path, group, sensor, ROWS):
            yield row, block
            row += len(block.acceleration)
        return
    row = max(_row_at(known, path, group, sensor, from_s) - NEIGHBOURS, 0)
    while len((block := known.read_rows(path, group, sensor, slice(row, row + ROWS))).acceleration):
        yield row, block
        row += len(block.acceleration)


def _row_at(known: Format, path: Path, group: str | None, sensor: Sensor, from_s: float) -> int:
    """Find a row with a time, or one near it, by halving: times rise."""
    assert known.read_rows is not None  # noqa: S101 - the caller asked
    read = known.read_rows

    def is_before(row: int) -> bool:
        block = read(path, group, sensor, slice(row, row + NEIGHBOURS))
        return len(block.acceleration) > 0 and bool(np.fmin.reduce(_times_s(block, sensor, row)) < from_s)

    low, high = 0, NEIGHBOURS
    while is_before(high):
        low, high = high, 2 * high
    while high - low > NEIGHBOURS:
        middle = (low + high) // 2
        low, high = (middle, high) if is_before(middle) else (low, middle)
    return low


def _times_s(samples: Samples, sensor: Sensor, row: int) -> NDArray[np.float64]:
    """Time stamps [s] of rows that stay as they are."""
    time = None if samples.time is None else samples.time.copy()
    return stamps_s(
        Samples(time, samples.acceleration, samples.angular_velocity), sensor.units, sensor.rate_hz, row
    )


def _rows(samples: Samples, rows: slice) -> Samples:
    return Samples(
        None if samples.time is None else samples.time[rows],
        samples.acceleration[rows],
        samples.angular_velocity[rows],
        samples.notes,
    )


def _joined(found: list[Samples], *, timeless: bool) -> Samples:
    if not found:
        nothing = np.empty((0, 3))
        return Samples(None if timeless else np.empty(0), nothing, nothing.copy())
    times = [one.time for one in found if one.time is not None]
    return Samples(
        np.concatenate(times) if times else None,
        np.concatenate([one.acceleration for one in found]),
        np.concatenate([one.angular_velocity for one in found]),
        found[0].notes,
    )
