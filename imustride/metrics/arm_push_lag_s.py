"""When the arm opposite the pushing leg ends its swing, against blade-off."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.metrics.arm import arm_lag_s
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
    return arm_lag_s(limbs, forward=False)


METRIC = Metric(
    name="arm_push_lag_s",
    unit="s",
    number=1,
    definition=(
        "end of the swing of the forearm opposite the pushing leg, forward or back, nearest to blade-off within half a "
        "stride, minus blade-off; positive: the arm is later. Which end it is: arm_push_phase_deg"
    ),
    source="common practice, no source",
    symmetry="difference",
    measure=measure,
    places=("wrist",),
)
