"""What the device's own low pass lets through."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.checking.view import Outcome, graded_low, untold
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView


def judge(view: SensorView, limits: CheckLimits) -> Outcome | None:
    """Judge the low pass seen in the noise at rest; only on skates, where contact shows as vibration."""
    if not view.on_skate:
        return None
    limit = (
        f"60 Hz or more; warns below {limits.bandwidth_hz[0]:.0f}, fails below {limits.bandwidth_hz[1]:.0f}"
    )
    declared = view.recording.sensor.bandwidth_hz
    if view.bandwidth_hz is None:
        if view.rest is None:
            return untold("never at rest", limit, "stand still for 3 s in every recording")
        half_hz = 0.5 * view.recording.rate_hz
        if declared is None:
            return Outcome("pass", f"no low pass seen below {0.85 * half_hz:.0f} Hz", limit)
    found_hz = declared if view.bandwidth_hz is None else view.bandwidth_hz
    if found_hz is None:
        return untold("cannot be told", limit)
    verdict, strain = graded_low(found_hz, limits.bandwidth_hz)
    told = f", declared {declared:.0f}" if declared is not None and view.bandwidth_hz is not None else ""
    return Outcome(
        verdict,
        f"about {found_hz:.0f} Hz{told}" if view.bandwidth_hz is not None else f"{found_hz:.0f} Hz declared",
        limit,
        "" if verdict == "pass" else "switch the device's low pass to a higher cut or off, or raise the rate",
        found_hz,
        "Hz",
        strain,
    )


CHECK = Check(
    name="bandwidth",
    title="bandwidth",
    order=70,
    of="sensor",
    question="Does the device pass the vibration of a blade on the ice?",
    source="contact shows as vibration (Stetter et al. 2016, doi 10.1123/jab.2014-0245), partly above 60 Hz",
    mended_by="recording",
    judge=judge,
)
