"""Noise at rest, and axes that say nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.checking.quiet import quietest
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
    if view.dead_axes:
        measured = f"{' and '.join(view.dead_axes)} never changes"
        return Outcome("fail", measured, limit, "take another sensor", 0.0, "", np.inf)
    levels = quietest(view.recording)
    if levels is None:
        return untold("too short", limit, "record for 10 s or more")
    width_hz = min(view.bandwidth_hz or np.inf, 0.5 * view.recording.rate_hz)
    acceleration, turning = (level / float(np.sqrt(width_hz)) for level in levels)
    grades = [
        graded(acceleration, limits.acceleration_noise_m_s2_hz),
        graded(turning, limits.angular_velocity_noise_deg_s_hz),
    ]
    verdict, strain = worst(grades)
    return Outcome(
        verdict,
        f"{acceleration:.3f} m/s^2 and {turning:.3f} deg/s in 1 Hz",
        limit,
        "" if verdict == "pass" else ADVICE,
        acceleration,
        "m/s^2/sqrt(Hz)",
        strain,
    )


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
