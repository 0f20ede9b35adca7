"""A sensor on another part of the body than declared."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.checking.view import Outcome, untold
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView

OTHER = {"left": "right", "right": "left"}
# Places of which the run shows whether they are worn there: a leg moves with its own foot, shank and thigh tip opposite ways.
TOLD = ("shank", "thigh", "pelvis", "trunk")


def judge(view: SensorView, limits: CheckLimits) -> Outcome | None:  # noqa: ARG001 - one signature for all
    """Judge whether a sensor moves as its place does."""
    side, _, kind = view.recording.place.rpartition("_")
    if kind not in TOLD or not view.body.in_run:
        return None
    limit = "moves with its own foot, and in squats tips as its place does"
    body = view.body
    if body.place_problem:
        # Such a sentence ends in what to do.
        measured, _, advice = body.place_problem.partition("; ")
        return Outcome("fail", measured, limit, advice, strain=np.inf)
    if body.run_problem:
        return untold("not joined to the skates", limit)
    axes = body.fitting is not None and body.fitting.movements > 0
    if not side and not axes:
        return untold("no squats to tell by", limit)
    measured = f"does not move with the {OTHER[side]} foot" if side else ""
    tipped = "tips as declared in squats" if axes else "no squats to tell shank from thigh"
    return Outcome("pass", ", ".join(part for part in (measured, tipped) if part), limit)


CHECK = Check(
    name="body_place",
    title="place on the body",
    order=134,
    of="sensor",
    question="Is the sensor on the side and the segment that the session says?",
    source="a leg moves with its foot; in a squat shank and trunk tip forward, the thigh back (common practice, no source)",
    mended_by="declaring",
    judge=judge,
)
