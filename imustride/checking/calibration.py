"""Calibration: present, of the same device, not too old."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.checking.view import Outcome, graded
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView

MAKE = "calibrate it: imustride calibrate positions; then declare the file"


def judge(view: SensorView, limits: CheckLimits) -> Outcome:
    """Judge the calibration of one sensor."""
    facts = view.calibration
    limit = f"of this device, {limits.calibration_days[0]:.0f} days at most; fails above {limits.calibration_days[1]:.0f}"
    if not facts.declared:
        return Outcome("warn", "none", limit, MAKE, strain=1.5)
    if facts.problem:
        return Outcome("fail", facts.problem, limit, "declare the calibration of this device", strain=np.inf)
    if facts.date is None or view.day is None:
        return Outcome("pass", "present, its age is not known", limit)
    days = (view.day - facts.date).days
    verdict, strain = graded(days, limits.calibration_days)
    if days < 0:
        verdict, strain = "warn", 1.5
    return Outcome(
        verdict,
        f"{facts.date}, {days} days old" if days >= 0 else f"{facts.date}, {-days} days after the recording",
        limit,
        "" if verdict == "pass" else MAKE if days >= 0 else "see whether the date of the session is right",
        float(days),
        "days",
        strain,
    )


CHECK = Check(
    name="calibration",
    title="calibration",
    order=150,
    of="sensor",
    question="Is the sensor calibrated, by its own file, and lately?",
    source="once a month on the table: common practice, no source",
    mended_by="declaring",
    judge=judge,
)
