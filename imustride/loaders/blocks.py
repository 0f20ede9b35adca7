"""Files of hours, a block of rows at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.errors import FileFormatError
from imustride.loaders.samples import (
    ACCELERATION_M_S2,
    ANGULAR_VELOCITY_RAD_S,
    Samples,
    scaled,
    stamps_s,
)
from imustride.recording import SensorLog, pieces

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

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
    if not path.is_file():
        message = f"{path}: no such file; wanted a recording; correct the path"
        raise FileFormatError(message)
    units, first_row = sensor.units, 0
    for samples in _blocks(path, group, sensor, rows):
        time_s = stamps_s(samples, units, sensor.rate_hz)
        if samples.time is None:
            time_s += first_row / (sensor.rate_hz or np.nan)
        yield SensorLog(
            sensor=sensor,
            time_s=time_s,
            acceleration_m_s2=scaled(samples.acceleration, ACCELERATION_M_S2[units.acceleration or "m/s^2"]),
            angular_velocity_rad_s=scaled(
                samples.angular_velocity, ANGULAR_VELOCITY_RAD_S[units.angular_velocity or "rad/s"]
            ),
            source=f"{path.parent.name}/{path.name}" + (f"#{group}" if group else ""),
            notes=samples.notes,
        )
        first_row += len(time_s)


def _blocks(path: Path, group: str | None, sensor: Sensor, rows: int) -> Iterator[Samples]:
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
