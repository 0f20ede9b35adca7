"""Remarks on a sensor's file: what is likely wrong, and what to do."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Literal

from imustride.calibration.gravity import unit_it_looks_like
from imustride.constants import STANDARD_GRAVITY_M_S2
from imustride.inspection.report import Finding, SensorReport
from imustride.inspection.signals import at_rest, gyroscope_scale, peak

if TYPE_CHECKING:
    from collections.abc import Iterator

    from imustride.recording import Recording
    from imustride.session import Sensor

Topic = Literal["acceleration", "angular velocity", "mounting", "sampling"]

# How far gravity at rest may be off on a real sensor.
LOOKS_LIKE = 0.15
# Uncalibrated low-cost accelerometers are off by up to this part of gravity (common practice, no source).
UNCALIBRATED = 0.02
# Factor between degrees and radians, found within this factor.
DEGREES = 57.3
ALIKE = 1.3
# The fastest gyroscopes sold read to 4000 deg/s = 70 rad/s; legs and skates turn faster than
# 30 deg/s wherever they accelerate by 2 g.
FASTEST_RAD_S = 75.0
SLOWEST_MOVING_DEG_S = 30.0
# Jitter and rates below which timing suffers.
JITTER_RATIO = 0.05
LOW_RATE_HZ = 100.0
GOOD_RATE_HZ = 200.0
LOW_BANDWIDTH_HZ = 60.0
LARGEST_TILT_DEG = 35.0


def findings(report: SensorReport, sensor: Sensor, gravity_m_s2: float) -> tuple[Finding, ...]:
    """Return the remarks on one sensor.

    Parameters
    ----------
    report : SensorReport
        Its measures; in file units where no unit is declared.
    sensor : Sensor
        As declared.
    gravity_m_s2 : float
        Local gravity [m/s^2].
    """
    told: tuple[tuple[Topic, Iterator[Finding]], ...] = (
        ("acceleration", _acceleration(report, sensor, gravity_m_s2)),
        ("angular velocity", _angular_velocity(report, sensor)),
        ("mounting", _mounting(report, sensor)),
        ("sampling", _sampling(report)),
    )
    return tuple(replace(remark, about=topic) for topic, remarks in told for remark in remarks)


def unit_errors(recording: Recording, gravity_m_s2: float, *, is_calibrated: bool = False) -> tuple[str, ...]:
    """Say what shows beyond doubt that a unit, a sign or the axes are declared wrongly.

    Parameters
    ----------
    recording : Recording
        In SI units by its declaration.
    gravity_m_s2 : float
        Local gravity [m/s^2].
    is_calibrated : bool
        Whether a calibration was applied.

    Returns
    -------
    tuple of str
        One sentence each, empty where all is well or nothing can be told.
    """
    remarks = signal_findings(recording, gravity_m_s2, is_calibrated=is_calibrated)
    return tuple(remark.text for remark in remarks if remark.level == "error")


def signal_findings(
    recording: Recording, gravity_m_s2: float, *, is_calibrated: bool = False
) -> tuple[Finding, ...]:
    """Return the remarks that the signals alone give; see `unit_errors`."""
    rest = at_rest(recording)
    report = SensorReport(
        source="",
        is_calibrated=is_calibrated,
        rest=rest,
        peak_acceleration=peak(recording.acceleration_m_s2),
        peak_angular_velocity=peak(recording.angular_velocity_rad_s),
        gyroscope_scale=gyroscope_scale(recording, rest),
    )
    return findings(report, recording.sensor, gravity_m_s2)


def _acceleration(report: SensorReport, sensor: Sensor, gravity_m_s2: float) -> Iterator[Finding]:
    if report.rest is None:
        yield Finding("note", "never at rest for 1 s: gravity, noise and bandwidth cannot be told")
        return
    found, unit = report.rest.gravity, sensor.units.acceleration
    if report.units == "SI" and abs(found / gravity_m_s2 - 1) <= LOOKS_LIKE:
        off = found / gravity_m_s2 - 1
        if abs(off) > UNCALIBRATED:
            yield Finding(
                "warning",
                f"gravity at rest is {100 * off:+.1f} % off ({gravity_m_s2:.3f} m/s^2 expected): calibrate",
            )
        return
    in_file = found
    if report.units == "SI" and not report.is_calibrated:
        in_file = found / (STANDARD_GRAVITY_M_S2 if unit == "g" else 1.0)
    looks = unit_it_looks_like(in_file, LOOKS_LIKE)
    if report.units == "SI":
        declared = "after calibration" if report.is_calibrated else f"declared as {unit}"
        yield Finding(
            "error",
            f"acceleration {declared}, but gravity at rest is {in_file:.4g}: {looks}; correct [units]",
        )
    else:
        yield Finding(
            "note", f"unit of acceleration declared nowhere; gravity at rest is {in_file:.4g}: {looks}"
        )


def _angular_velocity(report: SensorReport, sensor: Sensor) -> Iterator[Finding]:
    peak = report.peak_angular_velocity
    if peak is None:
        return
    if peak == 0:
        yield Finding("error", "angular velocity is zero throughout; is this the right column?")
        return
    unit, scale = sensor.units.angular_velocity, report.gyroscope_scale
    words = f"declared as {unit}" if report.units == "SI" else "unit declared nowhere"
    if scale is not None:
        if scale < 0:
            yield Finding(
                "error" if report.units == "SI" else "warning",
                "angular velocity turns against gravity: a sign is reversed, or axes of the two triads differ",
            )
        size = abs(scale)
        looks = (
            "rad/s" if unit == "deg/s" and 1 / ALIKE < size / DEGREES < ALIKE
            else "deg/s" if unit != "deg/s" and 1 / ALIKE < size * DEGREES < ALIKE
            else ""
        )  # fmt: skip
        if looks:
            yield Finding(
                "error" if report.units == "SI" else "note",
                f"angular velocity {words}: this looks like {looks} (turns against gravity)",
            )
        elif report.units == "SI" and not 1 / ALIKE < size < ALIKE:
            yield Finding(
                "warning", f"angular velocity is {1 / size:.2f} times what gravity shows; check its unit"
            )
        elif report.units != "SI":
            yield Finding(
                "note",
                "angular velocity unit declared nowhere: this looks like rad/s (turns against gravity)",
            )
    elif report.units == "SI":
        yield from _by_peak(report, unit, peak)


def _by_peak(report: SensorReport, unit: str | None, peak_rad_s: float) -> Iterator[Finding]:
    """Where no slow turn tells: compare the largest value with what sensors and legs can do."""
    peak_deg_s = peak_rad_s * DEGREES
    if peak_rad_s > FASTEST_RAD_S:
        looks = ": this looks like deg/s" if unit == "rad/s" else ""
        yield Finding(
            "error",
            f"angular velocity declared as {unit} reaches {peak_deg_s:.0f} deg/s{looks}; correct [units]",
        )
    moved = (report.peak_acceleration or 0) > 3 * STANDARD_GRAVITY_M_S2
    if unit == "deg/s" and moved and peak_deg_s < SLOWEST_MOVING_DEG_S:
        yield Finding(
            "error",
            f"angular velocity declared as deg/s only reaches {peak_deg_s:.3g}: this looks like rad/s",
        )


def _mounting(report: SensorReport, sensor: Sensor) -> Iterator[Finding]:
    rest, axes = report.rest, sensor.axes
    if rest is None or axes is None:
        return
    if rest.up[1] == axes[2][1] and rest.up != axes[2]:
        yield Finding(
            "error",
            f"axes say {axes[2]} points up, but at rest gravity shows {rest.up}: the sign of the acceleration is "
            "reversed (wanted: +g upwards at rest), or the sensor is upside down",
        )
    elif rest.up != axes[2]:
        yield Finding("warning", f"axes say {axes[2]} points up, but at rest {rest.up} does; correct axes")
    elif rest.tilt_deg > LARGEST_TILT_DEG:
        yield Finding(
            "warning", f"{axes[2]} is tilted by {rest.tilt_deg:.0f} deg at rest; check the mounting"
        )


def _sampling(report: SensorReport) -> Iterator[Finding]:
    rate, jitter = report.rate_hz, report.jitter_sd_s
    if rate is None or jitter is None:
        return
    if rate < LOW_RATE_HZ * 0.95:
        yield Finding(
            "warning", f"{rate:.0f} Hz is too slow to time a blade; wanted {GOOD_RATE_HZ:.0f} Hz or more"
        )
    if jitter * rate > JITTER_RATIO:
        yield Finding("note", f"time stamps jitter by {100 * jitter * rate:.0f} % of a period")
    if report.clipped_samples:
        yield Finding("warning", f"{report.clipped_samples} samples are clipped; use a larger range")
    if report.gaps:
        first = report.gaps[0]
        many = "a gap" if len(report.gaps) == 1 else f"{len(report.gaps)} gaps, the first"
        yield Finding("warning", f"{many} from {first[0]:.4f} to {first[1]:.4f} s")
    if report.bandwidth_hz is not None and report.bandwidth_hz < LOW_BANDWIDTH_HZ:
        yield Finding("note", f"the device passes only {report.bandwidth_hz:.0f} Hz: blade vibration is weak")
