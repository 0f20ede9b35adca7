"""Time on the ice."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.registry import Metric

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [s], shape (k,)."""
    return view.off_s - view.on_s


METRIC = Metric(
    name="contact_time_s",
    unit="s",
    number=1,
    definition="from blade-on to blade-off of this push",
    source="Stetter et al. 2016, doi 10.1123/jab.2014-0245",
    symmetry="index",
    measure=measure,
)
