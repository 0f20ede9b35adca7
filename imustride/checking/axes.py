"""Declared axes: up against gravity, forward against where the skate runs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.checking.view import Outcome, graded, untold
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView


def judge(view: SensorView, limits: CheckLimits) -> Outcome | None:
    """Judge the axes that the session declares; off the skates only up and down, standing straight tells the rest."""
    return told(view, limits) if view.on_skate or "mounting" in view.unit_faults else None


def told(view: SensorView, limits: CheckLimits) -> Outcome:
    """Judge declared axes by the stance and by where the skate runs."""
    axes = view.recording.sensor.axes
    limit = (
        f"the declared axis points up, and forward within {limits.axes_off_deg[0]:.0f} deg of where the skate runs; "
        f"fails beyond {limits.axes_off_deg[1]:.0f}"
    )
    if axes is None:
        return untold("not declared: found from the motion", limit)
    if "mounting" in view.unit_faults:
        return Outcome("fail", view.unit_faults["mounting"], limit, "correct axes", strain=np.inf)
    if view.rest is None:
        return untold("never at rest", limit, "stand still for 3 s in every recording")
    if view.rest.up != axes[2]:
        measured = f"{view.rest.up} is up, declared is {axes[2]}"
        return Outcome("fail", measured, limit, "correct axes, or turn the sensor as declared", strain=np.inf)
    if view.axes_off_deg is None:
        return Outcome("pass", f"{axes[2]} is up", limit)
    verdict, strain = graded(view.axes_off_deg, limits.axes_off_deg)
    return Outcome(
        verdict,
        f"{axes[2]} is up, {axes[0]} lies {view.axes_off_deg:.0f} deg from where the skate runs",
        limit,
        "" if verdict == "pass" else "correct axes, or the sign of the angular velocity",
        view.axes_off_deg,
        "deg",
        strain,
    )


CHECK = Check(
    name="axes",
    title="declared axes",
    order=110,
    of="sensor",
    question="Do the declared axes point where the session says?",
    source="gravity at rest; motion of the blade (simulated)",
    mended_by="declaring",
    judge=judge,
)
