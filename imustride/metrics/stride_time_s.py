"""Time of a stride."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.registry import Metric

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [s], shape (k,)."""
    return view.next_on_s - view.on_s


METRIC = Metric(
    name="stride_time_s",
    unit="s",
    number=1,
    definition="from blade-on to the next blade-on of the same foot",
    source="Khandan et al. 2022, doi 10.1038/s41598-022-26777-9",
    symmetry="index",
    measure=measure,
)
