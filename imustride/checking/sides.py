"""Left and right exchanged: by taps in the guided form, by the edges of the pushes in a run."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.checking.view import Outcome, untold
from imustride.registry import Check

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.checking.limits import CheckLimits
    from imustride.checking.view import RecordingView

# Added to both strengths of a blow, so that next to nothing against nothing is no lone blow.
SMALLEST_M_S2 = 0.05
SWAPPED = "exchange the sensors, or their places in the session file"


def judge(view: RecordingView, limits: CheckLimits) -> Outcome | None:
    """Judge whether the left sensor is on the left skate."""
    if view.kind == "movements" or not {"left_skate", "right_skate"} <= set(view.sensors):
        return None
    return by_taps(view, limits) if view.kind == "fitting" else by_edges(view)


def by_taps(view: RecordingView, limits: CheckLimits) -> Outcome:
    """Judge by which sensor felt the first lone blow after the heels."""
    limit = "the tap on the left skate is felt by the left sensor, then the right"
    if view.shared is None or not len(view.shared.blows):
        return untold(
            "no blow is shared: which sensor was tapped cannot be told", limit, "repeat the guided form"
        )
    order = tapped(view.shared.blows, limits.lone_blow)
    if order == ["left", "right"]:
        return Outcome("pass", "tapped left, then right", limit)
    if order == ["right", "left"]:
        return Outcome("fail", "SWAPPED: the first tap was felt on the right", limit, SWAPPED, strain=np.inf)
    found = ", then ".join(order) or "none"
    return Outcome(
        "warn",
        f"taps found: {found}",
        limit,
        "repeat the guided form: tap the left skate once, then the right",
        strain=1.5,
    )


def tapped(blows: NDArray[np.float64], lone: float) -> list[str]:
    """Return the sides of lone blows after the last shared one, each side of neighbouring blows once."""
    ratio = np.log((blows[:, 1] + SMALLEST_M_S2) / (blows[:, 2] + SMALLEST_M_S2))
    shared = np.flatnonzero(np.abs(ratio) < np.log(lone))
    after = ratio[shared[-1] + 1 :] if len(shared) else ratio
    sides = ["left" if one > 0 else "right" for one in after]
    return [side for k, side in enumerate(sides) if k == 0 or sides[k - 1] != side]


def by_edges(view: RecordingView) -> Outcome:
    """Judge by the edges of the pushes, which lean inwards."""
    limit = "the pushes lean to the inside edge on both feet"
    if view.sides == "contradicts":
        advice = "exchange the files, or the places, in the session file"
        return Outcome(
            "fail", "SWAPPED: on both feet the pushes lean to the outside edge", limit, advice, strain=np.inf
        )
    if view.sides == "as declared":
        return Outcome("pass", "as declared", limit)
    return untold("too few pushes to tell", limit, "record the guided form, or a run")


CHECK = Check(
    name="sides",
    title="left and right",
    order=160,
    of="recording",
    question="Is the left sensor on the left skate?",
    source="the protocol's taps; nobody pushes off the outside edge in a straight sprint (common practice, no source)",
    mended_by="declaring",
    judge=judge,
)
