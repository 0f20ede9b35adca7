"""A sensor that turned in its mount during the run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.checking.view import Outcome, graded, untold, worst
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView


def judge(view: SensorView, limits: CheckLimits) -> Outcome | None:
    """Judge the stance after the stop against the one before the start; only on skates: nobody stands alike twice."""
    limit = f"pitch {limits.turned_pitch_deg[1]:.0f} deg, roll {limits.turned_roll_deg[1]:.0f} deg from the first stance"
    if view.cut is None or not view.on_skate:
        return None
    if view.turned_deg is None:
        return untold("no stance after the stop", limit, "stand still for 3 s after the stop")
    pitch, roll = (abs(angle) for angle in view.turned_deg)
    grades = [graded(pitch, limits.turned_pitch_deg), graded(roll, limits.turned_roll_deg)]
    verdict, strain = worst(grades)
    return Outcome(
        verdict,
        f"pitch {pitch:.1f}, roll {roll:.1f} deg",
        limit,
        "" if verdict == "pass" else "fasten the sensor again, and repeat the run",
        max(pitch, roll),
        "deg",
        strain,
    )


CHECK = Check(
    name="turned",
    title="turned in the run",
    order=140,
    of="sensor",
    question="Does the sensor sit after the stop as it sat before the start?",
    source="a blade rounded to 3 m rocks by 2.7 deg either way; limits: common practice, no source",
    mended_by="recording",
    judge=judge,
)
