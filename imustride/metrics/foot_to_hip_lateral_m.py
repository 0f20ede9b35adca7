"""How far beside the hip the foot meets the ice."""

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
    return -limbs.outward * limbs.leg_m * limbs.at(limbs.leg()[:, 1], limbs.on_s)


METRIC = Metric(
    name="foot_to_hip_lateral_m",
    unit="m",
    number=1,
    definition=("across the lane, from hip to ankle, at blade-on; positive outward"),
    source="common practice, no source; lengths: measured, or Drillis and Contini 1966, in Winter",
    symmetry="difference",
    measure=measure,
    places=("shank", "thigh"),
)
