"""Files of hours, a block of rows at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.loaders.samples import Samples, as_log, check_is_file
from imustride.recording import pieces

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from imustride.recording import SensorLog
    from imustride.registry import Format
    from imustride.session import Sensor

# Rows of a block: some 5 MB of numbers.
ROWS = 1 << 16


def load_blocks(path: Path, group: str | None, sensor: Sensor, rows: int = ROWS) -> Iterator[SensorLog]:
    """Read one file as a sensor's declaration says, a block of rows at a time.

    Parameters
    ----------
    path : Path
    group : str or None
        Group inside an HDF5 file.
    sensor : Sensor
        With complete columns, units and file options.
    rows : int
        Rows in a block; the last one may be shorter.

    Yields
    ------
    SensorLog
        SI units, or counts where the sensor's units say so; time stamps as found. Formats that cannot be read in
        blocks are read whole.

    Raises
    ------
    FileFormatError
        As `load_file`; some faults only show behind the last block.
    """
    check_is_file(path)
    first_row = 0
    for samples in sample_blocks(path, group, sensor, rows):
        log = as_log(samples, path, group, sensor, first_row)
        first_row += len(log.time_s)
        yield log


def sample_blocks(path: Path, group: str | None, sensor: Sensor, rows: int = ROWS) -> Iterator[Samples]:
    """Read one file in blocks as `load_blocks` does, in the units of the file."""
    from imustride.loaders import format_of

    known: Format = format_of(path)
    if known.read_blocks is not None:
        yield from known.read_blocks(path, group, sensor, rows)
        return
    samples: Samples = known.read(path, group, sensor)
    for piece in pieces(len(samples.acceleration), rows):
        yield Samples(
            None if samples.time is None else samples.time[piece],
            samples.acceleration[piece],
            samples.angular_velocity[piece],
            samples.notes,
        )
