"""Noise at rest, and axes that say nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.checking.view import Outcome, graded, untold, worst
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView

ADVICE = "take another sensor; if that one is as noisy, look for something that shakes the boot"


def judge(view: SensorView, limits: CheckLimits) -> Outcome:
    """Judge the noise densities at rest."""
    most = limits.acceleration_noise_m_s2_hz[0], limits.angular_velocity_noise_deg_s_hz[0]
    limit = f"{most[0]:g} m/s^2 and {most[1]:g} deg/s in a band of 1 Hz; fails above three to four times that"
    dead = dead_axes(view)
    if dead:
        return Outcome(
            "fail", f"{' and '.join(dead)} never changes", limit, "take another sensor", 0.0, "", np.inf
        )
    if view.rest is None:
        return untold("never at rest", limit, "stand still for 3 s in every recording")
    width_hz = min(view.bandwidth_hz or np.inf, 0.5 * view.recording.rate_hz)
    acceleration = view.rest.acceleration_noise / np.sqrt(width_hz)
    turning = float(np.degrees(view.rest.angular_velocity_noise)) / np.sqrt(width_hz)
    graded_parts = [
        graded(acceleration, limits.acceleration_noise_m_s2_hz),
        graded(turning, limits.angular_velocity_noise_deg_s_hz),
    ]
    verdict = worst([part for part, _ in graded_parts])
    return Outcome(
        verdict,
        f"{acceleration:.3f} m/s^2 and {turning:.3f} deg/s in 1 Hz",
        limit,
        "" if verdict == "pass" else ADVICE,
        acceleration,
        "m/s^2/sqrt(Hz)",
        max(strain for _, strain in graded_parts),
    )


def dead_axes(view: SensorView) -> list[str]:
    """Name the axes that hold one and the same value in all measured samples."""
    measured = view.recording.measured
    triads = (
        ("acceleration", view.recording.acceleration_m_s2),
        ("angular velocity", view.recording.angular_velocity_rad_s),
    )
    return [
        f"{what} {name}"
        for what, values in triads
        for name, axis in zip("xyz", values.T, strict=True)
        if np.ptp(axis[measured]) < 1e-9
    ]


CHECK = Check(
    name="noise",
    title="noise at rest",
    order=80,
    of="sensor",
    question="Is the sensor as quiet as it should be, and every axis alive?",
    source="0.1 to 0.4 mg and 0.004 to 0.02 deg/s in 1 Hz in data sheets of low-cost sensors; limits: common practice, no source",
    mended_by="recording",
    judge=judge,
)
