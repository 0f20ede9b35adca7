"""What `inspect` found out about one sensor's file: plain data, and as text."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from imustride.recording import Rest


@dataclass(frozen=True, slots=True)
class Finding:
    """One remark: a `note` to know, a `warning` to look into, an `error` that makes results wrong."""

    level: Literal["note", "warning", "error"]
    text: str
    about: Literal["acceleration", "angular velocity", "mounting", "sampling", ""] = ""


@dataclass(frozen=True, slots=True)
class SensorReport:
    """One sensor's file. What could not be told is None.

    Values are in m/s^2 and rad/s where `units` is ``SI``, else in the units of the file, and
    calibrated where `is_calibrated`. `problem` is empty unless the file could not be read or sampled.
    """

    source: str
    run: str = ""
    place: str = ""
    device: str = ""
    problem: str = ""
    units: Literal["SI", "file units"] = "SI"
    is_calibrated: bool = False
    rows: int | None = None
    start_s: float | None = None
    duration_s: float | None = None
    rate_hz: float | None = None
    jitter_sd_s: float | None = None
    duplicates: int | None = None
    missing_samples: int | None = None
    nan_rows: int | None = None
    bridged: int | None = None
    gaps: tuple[tuple[float, float], ...] = ()
    clipped_samples: int | None = None
    peak_acceleration: float | None = None
    peak_angular_velocity: float | None = None
    rest: Rest | None = None
    gyroscope_scale: float | None = None
    bandwidth_hz: float | None = None
    findings: tuple[Finding, ...] = ()


def render(reports: Iterable[SensorReport]) -> str:
    """Return reports as text, a block a sensor."""
    return "\n\n".join("\n".join(_lines(report)) for report in reports)


def _lines(report: SensorReport) -> Iterator[str]:
    title = " ".join(
        word for word in (report.run, report.place, report.device and f"({report.device})") if word
    )
    yield f"{title}: {report.source}" if title else report.source
    if report.problem:
        yield f"  error    {report.problem}"
        return
    yield from _sampling_lines(report)
    yield from _signal_lines(report)
    for finding in report.findings:
        yield f"  {finding.level:8} {finding.text}"


def _sampling_lines(report: SensorReport) -> Iterator[str]:
    if report.rate_hz is None or report.duration_s is None or report.jitter_sd_s is None:
        return
    yield (
        f"  sampling {report.rows} rows, {report.duration_s:.2f} s at {report.rate_hz:.3f} Hz, "
        f"jitter {report.jitter_sd_s * 1e3:.3f} ms"
    )
    longest = max((to - start for start, to in report.gaps), default=0.0)
    gaps = f"{len(report.gaps)} gaps (longest {longest:.3f} s)" if report.gaps else "no gaps"
    yield (
        f"  faults   {gaps}, {report.bridged} short ones bridged, {report.missing_samples} samples missing, "
        f"{report.nan_rows} rows with NaN, {report.duplicates} duplicates, {report.clipped_samples} clipped"
    )


def _signal_lines(report: SensorReport) -> Iterator[str]:
    acceleration, rate, factor = ("m/s^2", "deg/s", 180 / np.pi) if report.units == "SI" else ("", "", 1.0)
    suffix = " (file units)" if report.units != "SI" else ", calibrated" if report.is_calibrated else ""
    if report.peak_acceleration is not None and report.peak_angular_velocity is not None:
        yield (
            f"  peaks    {report.peak_acceleration:.4g} {acceleration}, "
            f"{report.peak_angular_velocity * factor:.4g} {rate}{suffix}".replace(" ,", ",")
        )
    if report.rest is not None:
        rest = report.rest
        bias = ", ".join(f"{value * factor:.3g}" for value in rest.angular_velocity_bias)
        yield (
            (
                f"  at rest  {rest.duration_s:.1f} s: gravity {rest.gravity:.4g} {acceleration}, {rest.up} up "
                f"(tilted {rest.tilt_deg:.0f} deg), noise {rest.acceleration_noise:.3g} {acceleration}, "
                f"{rest.angular_velocity_noise * factor:.3g} {rate}, gyroscope bias {bias} {rate}"
            )
            .rstrip()
            .replace(" ,", ",")
        )
    if report.bandwidth_hz is not None:
        yield f"  bandwidth about {report.bandwidth_hz:.0f} Hz (from the noise at rest)"
