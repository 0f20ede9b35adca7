"""What a reader of a file format returns: the declared columns in the units of the file."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.constants import STANDARD_GRAVITY_M_S2
from imustride.errors import FileFormatError
from imustride.loaders.date_times import PATTERNS
from imustride.recording import SensorLog

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from imustride.session import Sensor, Units

# Factors from the units of files to SI; counts stay counts until a calibration gives them a scale. Date-times are
# seconds when they leave their reader.
TIME_S = {"s": 1.0, "ms": 1e-3, "us": 1e-6} | dict.fromkeys(PATTERNS, 1.0)
ACCELERATION_M_S2 = {"m/s^2": 1.0, "g": STANDARD_GRAVITY_M_S2, "counts": 1.0}
ANGULAR_VELOCITY_RAD_S = {"rad/s": 1.0, "deg/s": np.pi / 180, "counts": 1.0}
# What no sensor gives: 100 000 g, 57 million deg/s, counts of more than 32 bits. A damaged number, not a hard blow.
MOST_SI, MOST_COUNTS = 1e6, 1e10
# More of them are another unit.
MOST_SHARE = 0.2


@dataclass(frozen=True, eq=False, slots=True)
class Samples:
    """The declared columns of one file.

    Parameters
    ----------
    time : ndarray, shape (n,), or None
        Time stamps in the unit of the file; None where the file has none.
    acceleration, angular_velocity : ndarray, shape (n, 3)
        In the units of the file, NaN where missing.
    notes : tuple of str
        What was found and left out, for `inspect`.
    """

    time: NDArray[np.float64] | None
    acceleration: NDArray[np.float64]
    angular_velocity: NDArray[np.float64]
    notes: tuple[str, ...] = ()


def check_is_file(path: Path) -> None:
    """Raise where there is no file to read.

    Raises
    ------
    FileFormatError
        If nothing is there, or a folder, pipe or device.
    """
    if not path.is_file():
        found = "no file of samples but something else" if path.exists() else "no such file"
        message = (
            f"{path.parent.name}/{path.name}: {found}; correct the path in session.toml or copy the file"
        )
        raise FileFormatError(message)


def scaled(values: NDArray[np.float64], factor: float) -> NDArray[np.float64]:
    """Multiply in place, so that hours of data are held once; a factor of 1 leaves the bits alone."""
    if factor != 1.0:
        np.multiply(values, factor, out=values)
    return values


def as_log(samples: Samples, path: Path, group: str | None, sensor: Sensor, first_row: int = 0) -> SensorLog:
    """Convert a file's columns to SI units, in place; counts stay counts, impossible numbers become NaN and are noted.

    Parameters
    ----------
    samples : Samples
    path : Path
    group : str or None
        Group inside an HDF5 file.
    sensor : Sensor
        With complete units.
    first_row : int
        Rows of the file before these.

    Raises
    ------
    FileFormatError
        If many numbers are beyond what any sensor gives: it is another unit.
    """
    units = sensor.units
    acceleration = scaled(samples.acceleration, ACCELERATION_M_S2[units.acceleration or "m/s^2"])
    turning = scaled(samples.angular_velocity, ANGULAR_VELOCITY_RAD_S[units.angular_velocity or "rad/s"])
    source = f"{path.parent.name}/{path.name}" + (f"#{group}" if group else "")
    impossible = _emptied(acceleration, f"{source}: acceleration", units.acceleration)
    impossible += _emptied(turning, f"{source}: angular velocity", units.angular_velocity)
    note = (f"{impossible} numbers that no sensor gives taken as missing",) if impossible else ()
    return SensorLog(
        sensor=sensor,
        time_s=stamps_s(samples, units, sensor.rate_hz, first_row),
        acceleration_m_s2=acceleration,
        angular_velocity_rad_s=turning,
        source=source,
        notes=samples.notes + note,
    )


def _emptied(values: NDArray[np.float64], what: str, unit: str | None) -> int:
    """Set impossible numbers to NaN, in place; return how many there were; refuse a file that has little else."""
    most = MOST_COUNTS if unit == "counts" else MOST_SI
    if not values.size or (values.min() >= -most and values.max() <= most):
        return 0
    beyond = np.abs(values) > most
    count = int(np.count_nonzero(beyond))
    if count > MOST_SHARE * values.size:
        message = f"{what} declared as {unit}: {count} of {values.size} numbers are beyond what any sensor gives; correct [units], or the file"
        raise FileFormatError(message)
    values[beyond] = np.nan
    return count


def stamps_s(
    samples: Samples, units: Units, rate_hz: float | None, first_row: int = 0
) -> NDArray[np.float64]:
    """Time stamps [s], shape (n,): those of the file, its counter, or rows counted from zero at the declared rate."""
    if samples.time is None:
        return np.arange(first_row, first_row + len(samples.acceleration)) / (rate_hz or np.nan)
    if units.time == "samples":
        return np.divide(samples.time, rate_hz or np.nan, out=samples.time)
    return scaled(samples.time, TIME_S[units.time or "s"])
