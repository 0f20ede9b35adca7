"""Declared measuring ranges."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.checking.view import Outcome, graded_low, untold, worst
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView


def judge(view: SensorView, limits: CheckLimits) -> Outcome:
    """Judge the ranges the session declares."""
    sensor = view.recording.sensor
    advice = "set the larger range on the device: 500 deg/s ruins the path of the blade"
    limit = "16 g or more and 2000 deg/s; fails below 8 g or 1000 deg/s"
    of_acceleration, of_turning = limits.acceleration_range_g, limits.angular_velocity_range_deg_s
    if not view.on_skate:
        advice = "set the larger range on the device"
        limit = "8 g or more and 1000 deg/s; fails below 4 g or 500 deg/s"
        of_acceleration, of_turning = (
            limits.body_acceleration_range_g,
            limits.body_angular_velocity_range_deg_s,
        )
    declared = [
        (sensor.acceleration_range_g, of_acceleration, "g"),
        (sensor.angular_velocity_range_deg_s, of_turning, "deg/s"),
    ]
    known = [(value, bounds, unit) for value, bounds, unit in declared if value is not None]
    if not known:
        return untold("not declared", limit, "declare acceleration_range_g and angular_velocity_range_deg_s")
    grades = [graded_low(value, bounds) for value, bounds, _ in known]
    verdict, strain = worst(grades)
    return Outcome(
        verdict,
        ", ".join(f"{value:g} {unit}" for value, _, unit in known),
        limit,
        "" if verdict == "pass" else advice,
        known[-1][0],
        known[-1][2],
        strain,
    )


CHECK = Check(
    name="range",
    title="range",
    order=50,
    of="sensor",
    question="Is the range large enough for skating?",
    source="Potter et al. 2019, Sensors 19:2601 (saturation can ruin a foot's path); limits: common practice, no source",
    mended_by="recording",
    judge=judge,
)
