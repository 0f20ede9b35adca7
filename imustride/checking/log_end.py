"""Logs that end early."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.checking.view import Outcome, graded
from imustride.registry import Check

if TYPE_CHECKING:
    from collections.abc import Iterator

    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import RecordingView

ADVICE = "stop the logger only after the last shocks; charge the battery, free the memory"


def judge(view: RecordingView, limits: CheckLimits) -> Iterator[Outcome]:
    """Judge whether each log reaches beyond the stop, and as far as the other's."""
    limit = f"beyond the stop, and within {limits.shorter_s[0]:g} s of the other sensors"
    last_s = max(view.ends_s.values(), default=0.0)
    for place in () if view.kind == "movements" else view.sensors:
        moving = view.moving_at_end.get(place)
        shorter_s = last_s - view.ends_s.get(place, last_s)
        verdict, strain = graded(shorter_s, limits.shorter_s)
        measured = f"{shorter_s:.1f} s before the other" if shorter_s > 0.05 else "complete"
        if moving == "pushing":
            verdict, strain, measured = "fail", 9.0, "ends while the skater still pushes"
        elif verdict == "pass" and (moving == "gliding" or cut_short(view, place)):
            verdict, strain, measured = "warn", 1.5, "ends in the glide, before the stop"
        advice = "" if verdict == "pass" else ADVICE
        yield Outcome(verdict, measured, limit, advice, shorter_s, "s", strain, where=place)


def cut_short(view: RecordingView, place: str) -> bool:
    """Whether neither a stance after the stop nor a shock after the run is there: a smooth glide looks like rest."""
    sensor = view.sensors[place]
    return (
        sensor.on_skate
        and sensor.cut is not None
        and sensor.turned_deg is None
        and view.shared is not None
        and view.shared.before > 0
        and view.shared.after == 0
    )


CHECK = Check(
    name="log_end",
    title="end of the log",
    order=190,
    of="recording",
    question="Does the log last until after the stop?",
    source="protocol of a run (README)",
    mended_by="recording",
    judge=judge,
)
