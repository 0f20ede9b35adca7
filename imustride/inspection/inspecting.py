"""Look into a session folder or one file."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration import apply, local_gravity_m_s2, read_calibration
from imustride.constants import STANDARD_GRAVITY_M_S2
from imustride.errors import FileFormatError, ImustrideError
from imustride.inspection.bandwidth import estimate_bandwidth_hz
from imustride.inspection.findings import findings
from imustride.inspection.guessing import guess, time_unit
from imustride.inspection.report import Finding, SensorReport
from imustride.inspection.signals import at_rest, gyroscope_scale, peak
from imustride.loaders import load_file, open_session, regularise
from imustride.session import Columns, Sensor, Units
from imustride.session_checks import split_group

if TYPE_CHECKING:
    from pathlib import Path

    from imustride.recording import Recording, SensorLog
    from imustride.session import Session

# Sensors of one run whose logs differ by more than this were not worn through the same run.
LENGTH_DIFFERENCE_S = 2.0


def inspect(
    path: Path, columns: Columns | None = None, units: Units | None = None, rate_hz: float | None = None
) -> list[SensorReport]:
    """Tell what is in a session folder or one file.

    Parameters
    ----------
    path : Path
        Session folder, ``session.toml``, or a file of any known format (``file.h5#/group``).
    columns, units : Columns, Units, optional
        Of a single file. Without columns they are guessed from the header; without units values
        are shown as they stand in the file.
    rate_hz : float, optional
        Of a single file without time.

    Returns
    -------
    list of SensorReport
        One for each sensor of each run and movement; what could not be read carries a `problem`.

    Raises
    ------
    FileFormatError
        If the path does not exist, the session file is wrong, or the columns cannot be guessed.
    """
    if path.is_dir() or path.name == "session.toml":
        return _inspect_session(open_session(path))
    written, group = split_group(path.as_posix())
    return [_inspect_file(type(path)(written), group, columns, units, rate_hz)]


def _inspect_session(session: Session) -> list[SensorReport]:
    gravity = local_gravity_m_s2(session.latitude_deg)
    entries = [(run.name, run.files) for run in session.runs]
    entries += [(movement.kind, movement.files) for movement in session.movements]
    reports = []
    for name, files in entries:
        of_run = [
            _inspect_sensor(session, name, session.sensor(place), files[place], gravity) for place in files
        ]
        reports += _compared(of_run)
    return reports


def _inspect_sensor(session: Session, run: str, sensor: Sensor, written: str, gravity: float) -> SensorReport:
    blank = SensorReport(source=written, run=run, place=sensor.place, device=sensor.device)
    file, group = split_group(written)
    try:
        log = load_file(session.path(file), group, sensor)
        recording = regularise(log)
        calibration = session.calibration_path(sensor)
        if calibration is not None:
            recording = apply(recording, read_calibration(calibration))
    except (ImustrideError, OSError) as error:
        return replace(blank, problem=str(error))
    report = measured(
        log, recording, replace(blank, source=log.source, is_calibrated=calibration is not None)
    )
    return replace(report, findings=(*_notes(log), *findings(report, sensor, gravity)))


def _inspect_file(
    path: Path, group: str | None, columns: Columns | None, units: Units | None, rate_hz: float | None
) -> SensorReport:
    if not path.is_file():
        message = f"{path}: no such file or folder; wanted a session folder or a file with samples"
        raise FileFormatError(message)
    remarks = []
    given = Units() if units is None else units
    if columns is None:
        columns, said = guess(path, group)
        remarks.append(Finding("note", f"columns declared nowhere: {_named(columns)}"))
        if units is None and said != Units():
            given = said
            remarks.append(Finding("note", f"units declared nowhere: {_listed(said)} by the header"))
    is_declared = given.acceleration is not None and given.angular_velocity is not None
    # Without units nothing is converted: the numbers of the file stay as they are.
    sensor = Sensor(
        place="trunk",  # a lone file says nothing of its place, and nothing here depends on it
        columns=columns,
        units=given if is_declared else Units(time=given.time),
        rate_hz=rate_hz,
    )
    log = load_file(path, group, sensor)
    if given.time is None and rate_hz is None:
        log, remark = _timed(log)
        remarks.append(remark)
    blank = SensorReport(source=log.source, units="SI" if is_declared else "file units")
    try:
        report = measured(log, regularise(log), blank)
    except ImustrideError as error:
        return replace(blank, problem=str(error))
    return replace(
        report, findings=(*remarks, *_notes(log), *findings(report, sensor, STANDARD_GRAVITY_M_S2))
    )


def _named(columns: Columns) -> str:
    taken = (
        ("time", columns.time),
        ("acceleration", columns.acceleration),
        ("angular velocity", columns.angular_velocity),
    )
    return "; ".join(
        f"{what} taken from {names if isinstance(names, str) else ', '.join(names)}"
        for what, names in taken
        if names is not None
    )


def _listed(units: Units) -> str:
    said = (
        ("time", units.time),
        ("acceleration", units.acceleration),
        ("angular velocity", units.angular_velocity),
    )
    return ", ".join(f"{what} {unit}" for what, unit in said if unit is not None)


def _timed(log: SensorLog) -> tuple[SensorLog, Finding]:
    """Take the time unit from the steps, for display only."""
    steps = np.diff(log.time_s[np.isfinite(log.time_s)])
    step = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    unit = time_unit(step)
    if unit is None:
        return log, Finding(
            "warning", f"unit of time declared nowhere, and steps of {step:.4g} fit none of s, ms, us"
        )
    factor = {"s": 1.0, "ms": 1e-3, "us": 1e-6}[unit]
    log = replace(log, time_s=log.time_s * factor)
    return log, Finding("note", f"unit of time declared nowhere: steps of {step:.4g} look like {unit}")


def measured(log: SensorLog, recording: Recording, blank: SensorReport) -> SensorReport:
    """Fill in the measures of one recording."""
    quality, rest = recording.quality, at_rest(recording)
    rows_with_nan = ~np.isfinite(log.acceleration_m_s2.sum(axis=1) + log.angular_velocity_rad_s.sum(axis=1))
    return replace(
        blank,
        rows=quality.stamps,
        start_s=recording.start_s,
        duration_s=(len(recording.measured) - 1) / recording.rate_hz,
        rate_hz=recording.rate_hz,
        jitter_sd_s=quality.jitter_sd_s,
        duplicates=quality.duplicates,
        missing_samples=quality.missing_samples,
        nan_rows=int(rows_with_nan.sum()),
        bridged=quality.bridged,
        gaps=quality.gaps,
        clipped_samples=quality.clipped_samples,
        peak_acceleration=peak(recording.acceleration_m_s2),
        peak_angular_velocity=peak(recording.angular_velocity_rad_s),
        rest=rest,
        gyroscope_scale=gyroscope_scale(recording, rest),
        bandwidth_hz=estimate_bandwidth_hz(recording),
    )


def _notes(log: SensorLog) -> tuple[Finding, ...]:
    return tuple(Finding("note", note) for note in log.notes)


def _compared(reports: list[SensorReport]) -> list[SensorReport]:
    """Remark on sensors of one run that are much shorter than the longest."""
    longest = max((report.duration_s or 0.0 for report in reports), default=0.0)
    return [
        replace(
            report,
            findings=(
                *report.findings,
                Finding(
                    "warning",
                    f"{report.duration_s:.1f} s long, the longest sensor of the run {longest:.1f} s: "
                    "did it start late or stop early?",
                ),
            ),
        )
        if report.duration_s is not None and report.duration_s < longest - LENGTH_DIFFERENCE_S
        else report
        for report in reports
    ]
