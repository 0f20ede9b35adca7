"""Gyroscope: bias at rest; wrong units and signs by name."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.checking.view import Outcome, graded, untold
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView


def judge(view: SensorView, limits: CheckLimits) -> Outcome:
    """Judge the bias of the gyroscope, and its unit and sign."""
    limit = f"{limits.gyro_bias_deg_s[0]:g} deg/s; fails above {limits.gyro_bias_deg_s[1]:g}"
    if "angular velocity" in view.unit_faults:
        fault = view.unit_faults["angular velocity"]
        return Outcome("fail", fault, limit, "correct [units] or [columns]", strain=np.inf, by_declaring=True)
    turned = wrongly_turned(view, limits)
    if turned:
        advice = "correct [columns], [units] or the calibration"
        return Outcome("fail", turned, limit, advice, strain=np.inf, by_declaring=True)
    if view.rest is None:
        return untold("never at rest", limit, "stand still for 3 s in every recording")
    bias_deg_s = np.degrees(view.rest.angular_velocity_bias)
    size = float(np.linalg.norm(bias_deg_s))
    verdict, strain = graded(size, limits.gyro_bias_deg_s)
    return Outcome(
        verdict,
        f"{size:.2f} deg/s ({', '.join(f'{value:+.2f}' for value in bias_deg_s)})",
        limit,
        ""
        if verdict == "pass"
        else "let it cool down to the rink for 10 min, start it again at rest, or take another",
        size,
        "deg/s",
        strain,
    )


# A reversed sign explains nearly all of what it must explain.
MIRRORED = 0.25


def wrongly_turned(view: SensorView, limits: CheckLimits) -> str:
    """Say how the gyroscope contradicts gravity after the run; empty where it does not, or nothing can be told."""
    if view.gravity_turned_deg is None:
        return ""
    off_deg, reversed_deg = view.gravity_turned_deg
    if off_deg > limits.gravity_turned_deg[0] and reversed_deg < MIRRORED * off_deg:
        return f"turns against gravity: {off_deg:.0f} deg off after the run, {reversed_deg:.0f} with the sign reversed"
    if off_deg < limits.gravity_turned_deg[1]:
        return ""
    return f"turns gravity {off_deg:.0f} deg away in the run: its axes, sign or unit differ from the accelerometer's"


CHECK = Check(
    name="gyro",
    title="gyroscope at rest",
    order=100,
    of="sensor",
    question="Does the gyroscope at rest show little, in the declared unit and with the declared sign?",
    source="common practice, no source",
    mended_by="recording",
    judge=judge,
)
