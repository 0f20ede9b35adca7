"""Steps of the protocol that the recording shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.checking.view import Outcome, graded_low
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import RecordingView, SensorView


def judge(view: RecordingView, limits: CheckLimits) -> Outcome | None:
    """Judge stance, run and stop, or the stillness of the guided form; shocks have a check of their own."""
    if not view.sensors or view.kind == "movements":
        return None
    skates = [sensor for place, sensor in view.sensors.items() if place.endswith("skate")] or list(
        view.sensors.values()
    )
    return of_fitting(skates, limits) if view.kind == "fitting" else of_run(skates, limits)


def of_fitting(skates: list[SensorView], limits: CheckLimits) -> Outcome:
    """Judge how long all skates stood still."""
    still_s = min(0.0 if skate.rest is None else skate.rest.duration_s for skate in skates)
    verdict, strain = graded_low(still_s, limits.still_s)
    return Outcome(
        verdict,
        f"still for {still_s:.1f} s",
        "still for 3 s, heels twice, tap left, tap right",
        "" if verdict == "pass" else "stand still for 3 s, then drop both heels twice, tap left, tap right",
        still_s,
        "s",
        strain,
    )


def of_run(skates: list[SensorView], limits: CheckLimits) -> Outcome:
    """Judge the stance before the start and the stop after the run."""
    limit = "3 s of quiet standing, the run, the stop, quiet standing"
    lost = [skate.cut_problem for skate in skates if skate.cut is None]
    if lost:
        return Outcome("fail", "; ".join(lost), limit, "record the whole protocol", strain=np.inf)
    stance_s = min(skate.cut.stance_s[1] - skate.cut.stance_s[0] for skate in skates if skate.cut is not None)
    verdict, strain = graded_low(stance_s, limits.stance_s)
    stood = any(skate.turned_deg is not None for skate in skates)
    advice = "" if verdict == "pass" else "stand still on flat blades for 3 s before the start"
    if verdict == "pass" and not stood:
        verdict, strain, advice = "warn", 1.5, "stand still for 3 s after the stop, too"
    return Outcome(
        verdict,
        f"stance {stance_s:.1f} s, {'stop found' if stood else 'no stance after the stop'}",
        limit,
        advice,
        stance_s,
        "s",
        strain,
    )


CHECK = Check(
    name="protocol",
    title="protocol",
    order=200,
    of="recording",
    question="Are the steps of the protocol there?",
    source="protocol of a run (README)",
    mended_by="recording",
    judge=judge,
)
