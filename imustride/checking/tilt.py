"""Tilt of the mounting against the declared up axis."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.checking.view import Outcome, graded, untold
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView


def judge(view: SensorView, limits: CheckLimits) -> Outcome | None:
    """Judge how far the declared up axis leans in the stance; only on skates, since knees and trunk bend there."""
    if not view.on_skate:
        return None
    limit = f"{limits.tilt_deg[0]:.0f} deg from the declared axis; fails beyond {limits.tilt_deg[1]:.0f}"
    if view.rest is None:
        return untold("never at rest", limit, "stand still for 3 s in every recording")
    axes = view.recording.sensor.axes
    if axes is None or view.rest.up != axes[2]:
        return untold(f"{view.rest.tilt_deg:.0f} deg from {view.rest.up}, axes not declared so", limit)
    verdict, strain = graded(view.rest.tilt_deg, limits.tilt_deg)
    return Outcome(
        verdict,
        f"{view.rest.tilt_deg:.0f} deg",
        limit,
        ""
        if verdict == "pass"
        else "see whether it slipped; mount it square, or leave axes out of the session",
        view.rest.tilt_deg,
        "deg",
        strain,
    )


CHECK = Check(
    name="tilt",
    title="tilt of the mounting",
    order=120,
    of="sensor",
    question="Does the sensor sit square on the holder?",
    source="common practice, no source",
    mended_by="declaring",
    judge=judge,
)
