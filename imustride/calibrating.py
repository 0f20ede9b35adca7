"""From a recording on a table to a device's calibration: read, find, fit, compare with the earlier ones."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.calibration.file import parse_calibration
from imustride.calibration.gyroscope import Gyroscope, gyroscope_of_positions
from imustride.calibration.history import Step, looks_like, next_step, read_errors, read_history
from imustride.calibration.positions import Positions, find_positions
from imustride.calibration.stops import find_stops
from imustride.calibration.turns import KnownTurns, TurnSettings, fit_turns
from imustride.calibration.turntable import find_steady
from imustride.calibration.writing import Part, Target, calibration_path, part, plan
from imustride.errors import CalibrationError, FileFormatError, SignalQualityError
from imustride.exporting.digests import sha256
from imustride.inspection import unit_errors
from imustride.loaders import load_file, regularise

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Sequence
    from pathlib import Path

    from imustride.recording import Recording
    from imustride.session import Sensor


@dataclass(frozen=True, slots=True)
class Bench:
    """A recording on a table, and how to read it.

    Parameters
    ----------
    path : Path
    group : str or None
        Inside an HDF5 file.
    sensor : Sensor
        With complete columns and units; its device is the one calibrated.
    gravity_m_s2 : float
        Local gravity [m/s^2].
    """

    path: Path
    group: str | None
    sensor: Sensor
    gravity_m_s2: float


@dataclass(frozen=True, eq=False, slots=True)
class Made:
    """What a recording tells of its device."""

    bench: Bench
    source: str
    parts: tuple[Part, ...]
    notes: tuple[str, ...]
    positions: Positions | None = None
    gyroscope: Gyroscope | None = None
    turns: KnownTurns | None = None


@dataclass(frozen=True, slots=True)
class Placed:
    """Where a calibration goes, and how it compares with the one before it."""

    target: Target
    step: Step
    problems: tuple[str, ...] = field(default=())


def calibrate_positions(bench: Bench, times_s: Sequence[tuple[float, float]] = ()) -> Made:
    """Find accelerometer and gyroscope from static positions.

    Parameters
    ----------
    bench : Bench
    times_s : sequence of (from, to)
        Times of the positions [s]; found where empty.

    Raises
    ------
    FileFormatError
        If the file cannot be read, or a unit is declared wrongly beyond doubt.
    SignalQualityError
        If the recording does not determine the parameters; the message says what to record instead.
    SettingsError
        If a given time lies outside the recording.
    """
    recording, source = _read(bench)
    try:
        positions = find_positions(recording, bench.gravity_m_s2, times_s)
        gyroscope = gyroscope_of_positions(recording, positions)
    except SignalQualityError as error:
        raise _named(error, source) from error
    parts = [_accelerometer_part(bench, positions)]
    notes = positions.notes
    if gyroscope is None:
        notes = (
            *notes,
            "the gyroscope's counts got no scale: record known turns for `imustride calibrate turns`",
        )
    else:
        parts.append(_gyroscope_part(bench, gyroscope))
        notes = (*notes, *gyroscope.notes)
    return Made(bench, source, tuple(parts), notes, positions, gyroscope)


def calibrate_turns(
    bench: Bench,
    turn_deg: float = 360.0,
    rpm: float | None = None,
    times_s: Sequence[tuple[float, float]] = (),
) -> Made:
    """Find the gyroscope from known turns, or from turns between static positions where there are none.

    Parameters
    ----------
    bench : Bench
    turn_deg : float
        Angle of every turn against a stop [deg].
    rpm : float, optional
        Rate of a turntable [turns a minute], instead of turns against a stop.
    times_s : sequence of (from, to)
        Times of the turns [s]; found where empty.

    Raises
    ------
    FileFormatError, SignalQualityError, SettingsError
        As `calibrate_positions`.
    """
    recording, source = _read(bench)
    settings = TurnSettings()
    try:
        turns = (
            find_stops(recording, turn_deg, times_s, settings)
            if rpm is None
            else find_steady(recording, rpm, times_s, settings)
        )
        gyroscope = _from_known(turns, settings, recording)
    except SignalQualityError as error:
        instead = None if times_s or rpm is not None else _from_positions(bench, recording)
        if instead is None:
            raise _named(error, source) from error
        note = f"no known turns ({error}): used the turns between positions"
        return Made(bench, source, (_gyroscope_part(bench, instead),), (note,), None, instead)
    return Made(bench, source, (_gyroscope_part(bench, gyroscope),), gyroscope.notes, None, gyroscope, turns)


def place(made: Made, folder: Path, date: dt.date, *, replace: bool = False, anyway: bool = False) -> Placed:
    """Work out the calibration file of a device and date, and compare it with the one before.

    Parameters
    ----------
    made : Made
    folder : Path
        Holds a folder for each device.
    date : datetime.date
    replace : bool
        Whether what the file of that date says of the same triad may be replaced.
    anyway : bool
        Whether numbers that look like another device's are accepted.

    Raises
    ------
    SettingsError
        If the device has no name a folder can have, or the file may not be replaced.
    CalibrationError
        If the numbers are those of another device, or the matrix cannot be inverted.
    """
    device = made.bench.sensor.device
    path = calibration_path(folder, device, date)
    target = plan(path, device, date, made.bench.gravity_m_s2, list(made.parts), replace=replace)
    calibration = parse_calibration(target.text, f"{device}/{path.name}")
    history = read_history(folder, device)
    before = [step for step in history.steps if step.calibration.date < date]
    step = next_step(before[-1] if before else None, calibration, read_errors(target.text))
    other = None if anyway else looks_like(calibration, folder)
    if other is not None:
        message = (
            f"{made.source}: these are the numbers of device {other!r}, not those of {device!r} "
            f"(calibrated {before[-1].calibration.date}); record {device}, or give --device {other}; --anyway if it is {device} after all"
        )
        raise CalibrationError(message)
    return Placed(target, step, history.problems)


def _from_known(turns: KnownTurns, settings: TurnSettings, recording: Recording) -> Gyroscope:
    found = fit_turns(turns, settings, from_counts=recording.sensor.units.angular_velocity == "counts")
    departures = found.departure_percent[np.isfinite(found.departure_percent)]
    residuals = {"gyroscope_percent": float(np.abs(departures).max())} if len(departures) else {}
    notes = (
        ()
        if len(departures)
        else ("one turn about each axis leaves nothing to check by: turn each axis twice, once each way",)
    )
    return Gyroscope(
        found.method, found.triad, measured=True, turns=len(turns.axis), residuals=residuals, notes=notes
    )


def _from_positions(bench: Bench, recording: Recording) -> Gyroscope | None:
    """Return the gyroscope from turns between static positions, None where these do not give it."""
    try:
        found = gyroscope_of_positions(recording, find_positions(recording, bench.gravity_m_s2))
    except SignalQualityError:
        return None
    return found if found is not None and found.measured else None


def _read(bench: Bench) -> tuple[Recording, str]:
    log = load_file(bench.path, bench.group, bench.sensor)
    recording = regularise(log)
    units = bench.sensor.units
    # Without a gyroscope (zero throughout) the accelerometer can still be calibrated.
    if (
        "counts" not in {units.acceleration, units.angular_velocity}
        and recording.angular_velocity_rad_s.any()
    ):
        wrong = unit_errors(recording, bench.gravity_m_s2)
        if wrong:
            message = f"{log.source}: {'; '.join(wrong)}"
            raise FileFormatError(message)
    return recording, log.source


def _named(error: SignalQualityError, source: str) -> SignalQualityError:
    text = str(error)
    return error if text.startswith(source) else SignalQualityError(f"{source}: {text}")


def _accelerometer_part(bench: Bench, positions: Positions) -> Part:
    fit, covered = positions.fit, positions.fit.coverage
    more = {
        "method": fit.method,
        "gravity_m_s2": bench.gravity_m_s2,
        "positions": int(fit.used.sum()),
        "directions": covered.directions,
        "largest_hole_deg": round(covered.largest_hole_deg, 1),
        **_origin(bench),
    }
    residuals = {
        "accelerometer_m_s2": fit.rms_m_s2,
        "accelerometer_largest_m_s2": float(np.abs(fit.residual_m_s2[fit.used]).max()),
    }
    return part("accelerometer", fit.triad, more, residuals, measured=True)


def _gyroscope_part(bench: Bench, gyroscope: Gyroscope) -> Part:
    more: dict[str, Any] = {"method": gyroscope.method, "turns": gyroscope.turns, **_origin(bench)}
    return part("gyroscope", gyroscope.triad, more, gyroscope.residuals, measured=gyroscope.measured)


def _origin(bench: Bench) -> dict[str, str]:
    return {"file": bench.path.name, "sha256": sha256(bench.path)}
