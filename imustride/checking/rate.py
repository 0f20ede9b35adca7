"""True sampling rate."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.checking.view import Outcome, graded_low
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView


def judge(view: SensorView, limits: CheckLimits) -> Outcome:
    """Judge the rate found in the time stamps."""
    rate_hz = view.recording.rate_hz
    bounds = limits.rate_hz if view.on_skate else limits.body_rate_hz
    wanted = "200 Hz or more, better 500" if view.on_skate else "100 Hz or more"
    verdict, strain = graded_low(rate_hz, bounds)
    counted = view.recording.sensor.rate_hz is not None
    return Outcome(
        verdict,
        f"{rate_hz:.2f} Hz" + (" (declared, no time stamps)" if counted else ""),
        f"{wanted}; fails below {bounds[1] / 0.95:.0f}",
        "" if verdict == "pass" else "set the logger to a higher rate",
        rate_hz,
        "Hz",
        strain,
    )


CHECK = Check(
    name="rate",
    title="true rate",
    order=20,
    of="sensor",
    question="Is it sampled fast enough to time a blade?",
    source="Bailey and Harle 2014 (paths suffer below 250 Hz); accuracy by rate: simulated, DEVELOPERS.md",
    mended_by="recording",
    judge=judge,
)
