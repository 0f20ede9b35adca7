"""Shared shocks: whether there are enough to join the clocks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.checking.view import Outcome
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import RecordingView


def judge(view: RecordingView, limits: CheckLimits) -> Outcome | None:
    """Judge the number of shocks that both skates felt."""
    if view.kind == "movements" or not {"left_skate", "right_skate"} <= set(view.sensors):
        return None
    fitting = view.kind == "fitting"
    limit = "2 shared shocks" if fitting else "2 before the run and 2 after; one of each will do"
    advice = "raise and drop both heels at once, sharply, twice"
    if view.shared is None:
        return Outcome("fail", "the run was not found on both skates", limit, advice, strain=np.inf)
    before, after = view.shared.before, view.shared.after
    measured = f"{before} shared" if fitting else f"{before} before, {after} after"
    if not before + after:
        return Outcome("fail", "none shared", limit, advice, 0.0, strain=np.inf)
    enough = before >= 1 if fitting else before >= limits.shocks_each and after >= limits.shocks_each
    missing = "before" if before < limits.shocks_each else "after"
    return Outcome(
        "pass" if enough else "warn",
        measured,
        limit,
        "" if enough else f"{advice} also {missing} the run: clock drift cannot be told",
        float(before + after),
        "shocks",
        0.5 if enough else 1.5,
    )


CHECK = Check(
    name="shocks",
    title="shared shocks",
    order=170,
    of="recording",
    question="Did both skates feel the shocks that join their clocks?",
    source="protocol of a run (README)",
    mended_by="recording",
    judge=judge,
)
