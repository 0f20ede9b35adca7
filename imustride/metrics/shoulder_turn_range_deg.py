"""How far the shoulders turn in a stride."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.registry import Metric

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one angle a push [deg], shape (k,)."""
    limbs = view.limbs
    if limbs is None:
        return view.nothing
    return limbs.stride_range(limbs.yaw_deg("trunk"))


METRIC = Metric(
    name="shoulder_turn_range_deg",
    unit="deg",
    number=1,
    definition=(
        "range of the trunk's turn about the vertical over the stride, the straight line between its ends taken off"
    ),
    source="common practice, no source",
    symmetry="index",
    measure=measure,
    places=("trunk",),
)
