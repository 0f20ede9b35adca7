"""Gravity at rest against local gravity; wrong units and signs by name."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.checking.view import Outcome, graded, untold
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView


def judge(view: SensorView, limits: CheckLimits) -> Outcome:
    """Judge the length of gravity, and the unit and sign of the acceleration."""
    is_calibrated = view.calibration.declared and not view.calibration.problem
    bounds = limits.gravity_calibrated if is_calibrated else limits.gravity_uncalibrated
    limit = (
        f"{view.gravity_m_s2:.3f} m/s^2 within {100 * bounds[0]:g} % ({'' if is_calibrated else 'un'}calibrated); "
        f"fails beyond {100 * bounds[1]:g} %"
    )
    if "acceleration" in view.unit_faults:
        gravity = np.nan if view.rest is None else view.rest.gravity
        return Outcome(
            "fail", view.unit_faults["acceleration"], limit, "correct [units]", gravity, "m/s^2", np.inf
        )
    if view.rest is None:
        return untold("never at rest", limit, "stand still for 3 s in every recording")
    off = view.rest.gravity / view.gravity_m_s2 - 1
    verdict, strain = graded(abs(off), bounds)
    return Outcome(
        verdict,
        f"{view.rest.gravity:.3f} m/s^2 ({100 * off:+.1f} %)",
        limit,
        "" if verdict == "pass" else "calibrate the sensor: imustride calibrate positions",
        view.rest.gravity,
        "m/s^2",
        strain,
    )


CHECK = Check(
    name="gravity",
    title="gravity at rest",
    order=90,
    of="sensor",
    question="Does the sensor at rest show local gravity, in the declared unit?",
    source="normal gravity of WGS-84 (NGA.STND.0036); limits: common practice, no source",
    mended_by="declaring",
    judge=judge,
)
