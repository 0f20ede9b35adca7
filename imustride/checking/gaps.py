"""Samples that were lost."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.checking.view import Outcome, graded, worst
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView


def judge(view: SensorView, limits: CheckLimits) -> Outcome:
    """Judge how much was lost, and how much of it could be bridged."""
    recording, quality = view.recording, view.recording.quality
    lost = float(1.0 - recording.measured.mean())
    longest_s = max((end - begin for begin, end in quality.gaps), default=0.0)
    bridged = quality.missing_samples / len(recording.measured) - lost
    grades = [
        graded(lost, limits.gap_share),
        graded(longest_s, limits.gap_longest_s),
        graded(bridged, limits.bridged_share),
    ]
    verdict, strain = worst(grades)
    count = len(quality.gaps)
    if count:
        measured = (
            f"{count} gap{'s' if count > 1 else ''}, {100 * lost:.2f} % lost, the longest {longest_s:.3f} s"
        )
    elif quality.bridged:
        measured = f"{quality.bridged} short ones, {100 * bridged:.2f} %, all bridged"
    else:
        measured = "none"
    return Outcome(
        verdict,
        measured,
        f"none longer than 20 ms; fails above {limits.gap_longest_s[1]:g} s or {100 * limits.gap_share[1]:g} %",
        ""
        if verdict == "pass"
        else "log on the sensor itself; a fresh memory card and battery; then record again",
        100 * (lost + bridged),
        "%",
        strain,
    )


CHECK = Check(
    name="gaps",
    title="gaps",
    order=40,
    of="sensor",
    question="Were samples lost?",
    source="common practice, no source",
    mended_by="recording",
    judge=judge,
)
