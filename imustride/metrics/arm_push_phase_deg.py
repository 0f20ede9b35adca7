"""The arm's lag behind the push as a part of the stride."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.metrics.arm import arm_lag_s
from imustride.metrics.circular import wrapped_deg
from imustride.registry import Metric

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one phase a push [deg], shape (k,), from -180 to 180."""
    limbs = view.limbs
    if limbs is None:
        return view.nothing
    return wrapped_deg(360.0 * arm_lag_s(limbs) / (limbs.next_on_s - limbs.on_s))


METRIC = Metric(
    name="arm_push_phase_deg",
    unit="deg",
    number=1,
    definition=("arm_push_lag_s in degrees of the stride; means of a run are those of directions"),
    source="circular statistics: Fisher 1993, Statistical Analysis of Circular Data (from memory)",
    symmetry="difference",
    measure=measure,
    places=("wrist",),
)
