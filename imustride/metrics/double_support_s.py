"""Time with both blades on the ice at the end of a push."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.registry import Metric

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [s], shape (k,)."""
    return view.off_s - view.other_on_s


METRIC = Metric(
    name="double_support_s",
    unit="s",
    number=1,
    definition="from the other foot's blade-on to this blade-off; negative where there was a flight phase",
    source="Allinger and van den Bogert 1997",
    symmetry="difference",
    measure=measure,
)
