"""Jitter of the time stamps."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.checking.view import Outcome, graded, untold
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView


def judge(view: SensorView, limits: CheckLimits) -> Outcome:
    """Judge how far the time stamps scatter about a steady rate."""
    recording = view.recording
    limit = f"{100 * limits.jitter_periods[0]:.0f} % of a sample; fails above {100 * limits.jitter_periods[1]:.0f} %"
    if recording.sensor.rate_hz is not None:
        return untold("no time stamps", limit)
    periods = recording.quality.jitter_sd_s * recording.rate_hz
    verdict, strain = graded(periods, limits.jitter_periods)
    return Outcome(
        verdict,
        f"{1e3 * recording.quality.jitter_sd_s:.2f} ms = {100 * periods:.0f} % of a sample",
        limit,
        ""
        if verdict == "pass"
        else "log on the sensor itself, not over the air; use the sensor's own time stamps",
        100 * periods,
        "%",
        strain,
    )


CHECK = Check(
    name="jitter",
    title="jitter",
    order=30,
    of="sensor",
    question="Do the time stamps say when a sample was taken?",
    source="common practice, no source",
    mended_by="recording",
    judge=judge,
)
