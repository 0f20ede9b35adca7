"""Time of a step."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.registry import Metric

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [s], shape (k,)."""
    return view.other_on_s - view.on_s


METRIC = Metric(
    name="step_time_s",
    unit="s",
    number=1,
    definition="from blade-on to the next blade-on of the other foot",
    source="van den Tillaar et al. 2025 (step)",
    symmetry="index",
    measure=measure,
)
