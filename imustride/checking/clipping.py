"""Signals cut off at the end of the range."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.checking.view import Outcome, graded, worst
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView


def judge(view: SensorView, limits: CheckLimits) -> Outcome:
    """Judge how much of the motion is cut off."""
    recording = view.recording
    inside = slice(0, len(recording.measured))
    if view.cut is not None:
        inside = slice(*(recording.index(at_s) for at_s in view.cut.motion_s))
    clipped = recording.clipped[inside]
    share = float(clipped[:, 0].mean()) if len(clipped) else 0.0
    rate_s = float(clipped[:, 1].sum()) / recording.rate_hz
    grades = [graded(share, limits.clipped_share), graded(rate_s, limits.clipped_rate_s)]
    verdict, strain = worst(grades)
    words = [
        f"acceleration {100 * share:.1f} %" if share else "",
        f"angular velocity {1e3 * rate_s:.0f} ms" if rate_s else "",
    ]
    return Outcome(
        verdict,
        ", ".join(filter(None, words)) or "none",
        f"acceleration {100 * limits.clipped_share[0]:g} % of the motion, angular velocity {1e3 * limits.clipped_rate_s[0]:.0f} ms",
        "" if verdict == "pass" else "set a larger range: 16 g and 2000 deg/s",
        100 * share if share else 1e3 * rate_s,
        "%" if share else "ms",
        strain,
    )


CHECK = Check(
    name="clipping",
    title="clipping",
    order=60,
    of="sensor",
    question="Was the signal cut off at the end of its range?",
    source="common practice, no source",
    mended_by="recording",
    judge=judge,
)
