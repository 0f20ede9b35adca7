"""When the shoulders end their turn, against blade-off."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.metrics.extension import smooth
from imustride.registry import Metric

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one time a push [s], shape (k,)."""
    limbs = view.limbs
    if limbs is None:
        return view.nothing
    turned = smooth(limbs.yaw_deg("trunk"), limbs.time_s)
    return limbs.turning_s(turned, limbs.off_s, (limbs.next_on_s - limbs.on_s) / 2) - limbs.off_s


METRIC = Metric(
    name="shoulder_push_lag_s",
    unit="s",
    number=1,
    definition=(
        "end of the trunk's turn about the vertical, to either side, nearest to blade-off within half a stride, minus "
        "blade-off; positive: the shoulders are later"
    ),
    source="common practice, no source",
    symmetry="difference",
    measure=measure,
    places=("trunk",),
)
