"""Clocks: offset and drift, each with its uncertainty."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.checking.view import Outcome, graded, untold, worst
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import RecordingView

SPREADS = 3.0  # standard deviations by which a drift must exceed its limit


def judge(view: RecordingView, limits: CheckLimits) -> Outcome | None:
    """Judge how well the clocks are joined, and whether they run alike."""
    if view.kind == "movements" or not {"left_skate", "right_skate"} <= set(view.sensors):
        return None
    limit = (
        f"offset known to {1e3 * limits.clock_sd_s[0]:g} ms; drift {1e6 * limits.drift[0]:.0f} ppm, "
        f"fails above {1e6 * limits.drift[1]:.0f}"
    )
    shared = view.shared
    if shared is None or not np.isfinite(shared.offset_s):
        return untold("no shared shock", limit, "see shared shocks")
    words = f"offset {shared.offset_s:+.4f} s +- {1e3 * shared.offset_sd_s:.1f} ms"
    grades = [graded(shared.offset_sd_s, limits.clock_sd_s)]
    if np.isfinite(shared.drift):
        words += f", drift {1e6 * shared.drift:+.0f} +- {1e6 * shared.drift_sd:.0f} ppm"
        grades.append(graded(abs(shared.drift) - SPREADS * shared.drift_sd, limits.drift))
    else:
        words += ", drift not told"
    verdict, strain = worst(grades)
    advice = (
        "take another sensor: its clock runs off (50 ppm = 30 ms in 10 min)"
        if grades[-1][0] != "pass"
        else ""
    )
    return Outcome(
        verdict,
        words,
        limit,
        "" if verdict == "pass" else advice or "sharper shocks, or a higher rate",
        1e6 * shared.drift,
        "ppm",
        strain,
    )


CHECK = Check(
    name="clock",
    title="clocks",
    order=180,
    of="recording",
    question="Do the two clocks run alike, and how well are they joined?",
    source="two quartz clocks differ by 100 ppm at most: common practice, no source",
    mended_by="recording",
    judge=judge,
)
