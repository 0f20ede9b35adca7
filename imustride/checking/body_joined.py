"""Sensors of the body beside the skates: clocks joined by the shared shocks, headings by how they travel."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.checking.view import Outcome, graded, worst
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView


def judge(view: SensorView, limits: CheckLimits) -> Outcome | None:
    """Judge how a sensor of the body was joined to the skates in a run; what is lost otherwise is its own only."""
    body = view.body
    if view.on_skate or not body.in_run:
        return None
    limit = f"clock to {1e3 * limits.body_clock_sd_s[0]:.0f} ms, heading to {limits.heading_sd_deg:.0f} deg"
    if body.run_problem:
        measured, _, advice = body.run_problem.partition("; ")
        return Outcome(
            "warn",
            f"{measured}: nothing of it is measured",
            limit,
            advice or "two sharp drops of both heels, then 3 s of quiet standing",
            strain=9.0,
        )
    grades = [
        graded(body.clock_sd_s, limits.body_clock_sd_s),
        graded(body.heading_sd_deg, (limits.heading_sd_deg, float("inf"))),
    ]
    verdict, strain = worst(grades)
    advice = (
        "sharper drops of both heels"
        if grades[0][0] != "pass"
        else "stand still before the start and after the stop; what needs the lane stays empty"
    )
    return Outcome(
        verdict,
        f"clock to {1e3 * body.clock_sd_s:.1f} ms, heading to {body.heading_sd_deg:.1f} deg",
        limit,
        "" if verdict == "pass" else advice,
        1e3 * body.clock_sd_s,
        "ms",
        strain,
    )


CHECK = Check(
    name="body_joined",
    title="joined to the skates",
    order=185,
    of="sensor",
    question="Did it feel the shocks of the heels, and is its direction against the lane known?",
    source="protocol of a run (README); limits: common practice, no source",
    mended_by="recording",
    judge=judge,
)
