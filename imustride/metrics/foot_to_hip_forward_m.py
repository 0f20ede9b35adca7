"""How far in front of the hip the foot meets the ice."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.registry import Metric

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one distance a push [m], shape (k,); empty without lengths of the segments."""
    limbs = view.limbs
    if limbs is None:
        return view.nothing
    return -limbs.leg_m * limbs.at(limbs.leg()[:, 0], limbs.on_s)


METRIC = Metric(
    name="foot_to_hip_forward_m",
    unit="m",
    number=1,
    definition=("along the lane, from hip to ankle, at blade-on; positive: the foot is ahead"),
    source="common practice, no source; lengths: measured, or Drillis and Contini 1966, in Winter",
    symmetry="difference",
    measure=measure,
    places=("shank", "thigh"),
)
