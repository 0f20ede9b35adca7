"""How far the arm opposite the pushing leg swings in a stride."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.arm import swing_deg
from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one angle a push [deg], shape (k,)."""
    limbs = view.limbs
    if limbs is None:
        return view.nothing
    swing = swing_deg(limbs)
    ranges = [
        np.ptp(swing[span]) if span.stop > span.start else np.nan
        for span in limbs.spans(limbs.on_s, limbs.next_on_s)
    ]
    return np.array(ranges)


METRIC = Metric(
    name="arm_swing_range_deg",
    unit="deg",
    number=1,
    definition=(
        "of the forearm opposite the pushing leg, over the stride: range of its angle from hanging down, in the vertical plane in which it mainly swings"
    ),
    source="common practice, no source",
    symmetry="index",
    measure=measure,
    places=("wrist",),
)
