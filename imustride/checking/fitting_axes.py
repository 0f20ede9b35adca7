"""How a sensor sits on its segment: standing straight and two slow squats, as movements at the boards show it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.checking.view import Outcome, graded, untold
from imustride.registry import Check

if TYPE_CHECKING:
    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import SensorView
    from imustride.segments import Fitting

# What the columns of a place rest on: places and turns of pelvis and head ask for no axes.
STANDING = ("shank", "thigh", "trunk", "wrist")
SQUATS = ("shank", "thigh", "trunk")
LOST = {
    "shank": "angles of shank, knee and leg",
    "thigh": "angles of knee and leg",
    "trunk": "lean of the trunk",
    "wrist": "the arm",
}
# The long axis alone still shows how far the leg leans and reaches.
LOST_WITHOUT_SQUATS = {
    "shank": "inclination of the shank, flexion of the knee",
    "thigh": "flexion of the knee",
    "trunk": "lean of the trunk",
}
ADVICE = "record standing straight for 3 s with hanging arms, then two slow squats, at the boards (README)"


def judge(view: SensorView, limits: CheckLimits) -> Outcome | None:
    """Judge what standing and squats show; only of sensors that are not on a skate."""
    kind = view.recording.place.rsplit("_", maxsplit=1)[-1]
    if view.on_skate:
        return None
    limit = "standing straight found"
    if kind in SQUATS:
        limit += f", forward axis known to {limits.forward_sd_deg[0]:g} deg; fails beyond {limits.forward_sd_deg[1]:g}"
    body = view.body
    if body.fitting is not None:
        return of_fitting(kind, body.fitting, limit, limits)
    if body.recorded:
        measured = body.fitting_problem or "shows nothing"
        return Outcome("fail", measured, limit, ADVICE, strain=np.inf)
    if kind not in STANDING:
        return Outcome("pass", "not needed here: its columns ask for no axes", "nothing")
    return untold(f"no movements recorded: not measured: {LOST[kind]}", limit, ADVICE)


def of_fitting(kind: str, fitting: Fitting, limit: str, limits: CheckLimits) -> Outcome:
    """Judge a fitting: a contradiction, a forward axis nothing showed, or how well it is known."""
    forward_deg = float(np.degrees(fitting.forward_sd_rad))
    value = forward_deg if np.isfinite(forward_deg) else None
    if fitting.problem:
        # Such a sentence ends in what to do.
        measured, _, advice = fitting.problem.partition("; ")
        return Outcome("fail", measured, limit, advice or ADVICE, value, "deg", np.inf)
    if kind not in SQUATS:
        return Outcome("pass", "standing found", limit, value=value, unit="deg")
    if value is None:
        measured = f"standing found, no squat bends it: not measured: {LOST_WITHOUT_SQUATS[kind]}"
        return Outcome("warn", measured, limit, ADVICE, strain=1.5)
    verdict, strain = graded(value, limits.forward_sd_deg)
    bends = f"{fitting.movements} movement{'' if fitting.movements == 1 else 's'}"
    by = f"shown by {bends}" if fitting.movements else "as declared, no squat bends it"
    return Outcome(
        verdict,
        f"standing found, forward axis to {value:.1f} deg ({by})",
        limit,
        "" if verdict == "pass" else ADVICE,
        value,
        "deg",
        strain,
    )


CHECK = Check(
    name="fitting_axes",
    title="standing and squats",
    order=132,
    of="sensor",
    question="Do standing straight and squats show how the sensor sits on its segment?",
    source="functional axes: Favre et al. 2009, J. Biomech. 42:2330-2335 (from memory); limits: common practice, no source",
    mended_by="declaring",
    judge=judge,
)
