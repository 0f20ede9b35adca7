"""Strides a second of one leg."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.registry import Metric

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [Hz], shape (k,)."""
    return 1.0 / (view.next_on_s - view.on_s)


METRIC = Metric(
    name="stride_rate_hz",
    unit="Hz",
    number=1,
    definition="1 / stride_time_s; the rate of pushes of both legs is twice this",
    source="reciprocal of stride_time_s",
    symmetry="index",
    measure=measure,
)
