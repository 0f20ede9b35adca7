"""How far the head moves up and down in a stride."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.registry import Metric

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one distance a push [m], shape (k,)."""
    limbs = view.limbs
    if limbs is None:
        return view.nothing
    return limbs.stride_range(limbs.place_m["head"][:, 1]) if "head" in limbs.place_m else view.nothing


METRIC = Metric(
    name="head_vertical_range_m",
    unit="m",
    number=1,
    definition=(
        "range of the head sensor's place up and down, from blade-on to the next blade-on of the same foot, the straight line between the two taken off; from its acceleration, where the stride repeats"
    ),
    source="common practice, no source",
    symmetry="index",
    measure=measure,
    places=("head",),
)
