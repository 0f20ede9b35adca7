"""The noise of a sensor from one long file: read twice in blocks, survey first, then measure."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration import read_calibration
from imustride.calibration.noise import Noise, measure_noise
from imustride.calibration.stillness import TRIADS, WINDOW_S, Still, Survey, find_still
from imustride.constants import STANDARD_GRAVITY_M_S2
from imustride.errors import CalibrationError, FileFormatError, SettingsError, SignalQualityError
from imustride.inspection import unit_errors
from imustride.loaders.blocks import load_blocks
from imustride.loaders.counting import Counting
from imustride.recording import Recording

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from imustride.calibration.file import Calibration, Correction
    from imustride.recording import SensorLog
    from imustride.session import Sensor

NAMELESS = "unknown"
UNIT_OPTIONS = ("--acceleration-unit", "--angular-velocity-unit")
# The quietest gyroscopes of this kind scatter by more at 100 Hz and above (common practice, no source).
QUIETEST_RAD_S = np.radians(0.005)


@dataclass(frozen=True, slots=True)
class LongFile:
    """A file at rest for hours, and how to read it.

    Parameters
    ----------
    path : Path
    group : str or None
        Inside an HDF5 file.
    sensor : Sensor
        With complete columns and units.
    from_s, to_s : float
        Part of the file on its own clock [s].
    calibration : Path, optional
        Applied first; gives counts their unit.
    """

    path: Path
    group: str | None
    sensor: Sensor
    from_s: float = -np.inf
    to_s: float = np.inf
    calibration: Path | None = None


@dataclass(frozen=True, eq=False, slots=True)
class NoiseReport:
    """The noise of one device, with what was used of its file."""

    source: str
    device: str
    noise: Noise
    units: tuple[str, str]
    used_s: tuple[float, float]
    lost: int
    notes: tuple[str, ...]


def measure_file(file: LongFile) -> NoiseReport:
    """Measure the noise of a file in bounded memory.

    Raises
    ------
    FileFormatError
        If the file cannot be read, or a unit is declared wrongly beyond doubt.
    CalibrationError
        If the calibration belongs to another device or other units.
    SettingsError
        If the wanted part holds no samples.
    SignalQualityError
        If there is no long enough stretch at rest, a hole in it, or an axis that never changes.
    """
    reader = _Reader(file)
    try:
        counting, still = reader.survey()
        reader.refuse_wrong_unit(still, counting.rate_hz)
        noise = measure_noise(reader.still(still), still.end - still.begin, counting.rate_hz)
    except SignalQualityError as error:
        text = str(error)
        message = text if text.startswith(reader.source) else f"{reader.source}: {text}"
        raise SignalQualityError(message) from error
    from_s, to_s = (counting.first_s + place / counting.rate_hz for place in (still.begin, still.end))
    return NoiseReport(
        reader.source,
        file.sensor.device,
        noise,
        ("counts" if reader.in_counts[0] else "m/s^2", "counts" if reader.in_counts[1] else "rad/s"),
        (from_s, to_s),
        counting.lost,
        (*counting.notes, *still.notes, *_quiet(noise, reader.in_counts)),
    )


class _Reader:
    """Reads the samples of a file as often as wanted, calibrated, in blocks."""

    def __init__(self, file: LongFile) -> None:
        self.file = file
        self.source = f"{file.path.parent.name}/{file.path.name}" + (f"#{file.group}" if file.group else "")
        calibration = None if file.calibration is None else read_calibration(file.calibration)
        self._corrections = _corrections(file.sensor, calibration)
        declared = (file.sensor.units.acceleration, file.sensor.units.angular_velocity)
        self.in_counts = tuple(
            unit == "counts" and correction is None
            for unit, correction in zip(declared, self._corrections, strict=True)
        )

    def survey(self) -> tuple[Counting, Still]:
        """Read once; find when the sensor lay still."""
        counting, found = Counting(), None
        for block in self._blocks(counting):
            if found is None:
                rate_hz = counting.rate_hz if counting.count > 1 else 1.0
                found = Survey(max(2, round(WINDOW_S * rate_hz)))
            found.add(block)
        if found is None or counting.count < 2:
            message = (
                f"{self.source}: no samples from {self.file.from_s:g} to {self.file.to_s:g} s; wanted a part of the "
                "recording, on its own clock; correct --start-s and --end-s"
            )
            raise SettingsError(message)
        return counting, find_still(found, counting.rate_hz, in_counts=(self.in_counts[0], self.in_counts[1]))

    def still(self, still: Still) -> Iterator[NDArray[np.float64]]:
        """Give the samples of the still stretch."""
        counting = Counting()
        for block in self._blocks(counting):
            first = counting.count - len(block)
            inside = block[max(still.begin - first, 0) : max(still.end - first, 0)]
            if len(inside):
                yield inside
            if counting.count >= still.end:
                return

    def refuse_wrong_unit(self, still: Still, rate_hz: float) -> None:
        """Compare the first still block with gravity, as other commands do."""
        if any(self.in_counts):
            return
        block = next(self.still(still))
        recording = Recording(
            self.file.sensor,
            0.0,
            rate_hz,
            np.asfortranarray(block[:, :3]),
            np.asfortranarray(block[:, 3:]),
            np.ones(len(block), dtype=bool),
            np.zeros((len(block), 2), dtype=bool),
        )
        is_calibrated = self._corrections[0] is not None
        wrong = unit_errors(recording, STANDARD_GRAVITY_M_S2, is_calibrated=is_calibrated)
        if wrong:
            message = f"{self.source}: {'; '.join(wrong)}"
            raise FileFormatError(message)

    def _blocks(self, counting: Counting) -> Iterator[NDArray[np.float64]]:
        file = self.file
        logs = load_blocks(file.path, file.group, file.sensor)
        for block in counting.blocks(_between(logs, file.from_s, file.to_s)):
            for correction, triad in zip(self._corrections, TRIADS, strict=True):
                if correction is not None:
                    block[:, triad] = (block[:, triad] - correction.bias) @ correction.matrix.T
            yield block


def _between(logs: Iterator[SensorLog], from_s: float, to_s: float) -> Iterator[SensorLog]:
    """Keep the rows of a span on the recording's clock; stop reading behind it."""
    for log in logs:
        inside = (log.time_s >= from_s) & (log.time_s <= to_s)
        if inside.all():
            yield log
        elif inside.any():
            yield replace(
                log,
                time_s=log.time_s[inside],
                acceleration_m_s2=log.acceleration_m_s2[inside],
                angular_velocity_rad_s=log.angular_velocity_rad_s[inside],
            )
        if np.fmin.reduce(log.time_s) > to_s:
            return


def _corrections(
    sensor: Sensor, calibration: Calibration | None
) -> tuple[Correction | None, Correction | None]:
    if calibration is None:
        return None, None
    if sensor.device not in {calibration.device, NAMELESS}:
        message = (
            f"{calibration.source}: calibration of device {calibration.device!r}; wanted {sensor.device!r}; "
            "correct --device or --calibration"
        )
        raise CalibrationError(message)
    found = (calibration.accelerometer, calibration.gyroscope)
    units = (sensor.units.acceleration, sensor.units.angular_velocity)
    for correction, unit, option in zip(found, units, UNIT_OPTIONS, strict=True):
        if correction is not None and correction.from_counts != (unit == "counts"):
            message = (
                f"{calibration.source}: a calibration {'from' if correction.from_counts else 'not from'} counts for a "
                f"file in {unit}; wanted the calibration of this kind of file; correct {option} or --calibration"
            )
            raise CalibrationError(message)
    return found


def _quiet(noise: Noise, in_counts: tuple[bool, ...]) -> tuple[str, ...]:
    if in_counts[1] or noise.sd[3:].min() >= QUIETEST_RAD_S:
        return ()
    return (
        f"the gyroscope scatters by only {np.degrees(noise.sd[3:].min()):.2g} deg/s: check the unit of the angular velocity",
    )
