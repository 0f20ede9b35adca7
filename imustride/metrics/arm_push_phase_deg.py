"""Where in the stride the arm opposite the pushing leg is farthest forward, from blade-off on."""

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
    return wrapped_deg(360.0 * arm_lag_s(limbs, forward=True) / (limbs.next_on_s - limbs.on_s))


METRIC = Metric(
    name="arm_push_phase_deg",
    unit="deg",
    number=1,
    definition=(
        "farthest forward swing of the forearm opposite the pushing leg, nearest to blade-off, minus blade-off, in degrees "
        "of the stride: 0 forward as the blade leaves, 180 or -180 back. Means of a run are those of directions (runs.csv)"
    ),
    source="circular statistics: Fisher 1993, Statistical Analysis of Circular Data (from memory)",
    symmetry="none",
    measure=measure,
    places=("wrist",),
)
