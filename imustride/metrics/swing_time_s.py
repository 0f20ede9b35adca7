"""Time in the air."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.registry import Metric

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [s], shape (k,)."""
    return view.next_on_s - view.off_s


METRIC = Metric(
    name="swing_time_s",
    unit="s",
    number=1,
    definition="from blade-off to the next blade-on of the same foot",
    source="Allinger and van den Bogert 1997 (recovery)",
    symmetry="index",
    measure=measure,
)
