"""How much of the arm's swing goes across the body."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.registry import Metric

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one share a push, shape (k,)."""
    limbs = view.limbs
    if limbs is None:
        return view.nothing
    along = -limbs.long_axis("arm")
    shares = view.nothing
    for k, span in enumerate(limbs.spans(limbs.on_s, limbs.next_on_s)):
        if span.stop > span.start:
            forward, across = along[span, :2].var(axis=0)
            shares[k] = across / (forward + across)
    return shares


METRIC = Metric(
    name="arm_across_share_ratio",
    unit="",
    number=1,
    definition=(
        "of the forearm opposite the pushing leg, over the stride: variance of its direction across the lane as a share of that in the horizontal plane"
    ),
    source="common practice, no source",
    symmetry="difference",
    measure=measure,
    places=("wrist",),
)
