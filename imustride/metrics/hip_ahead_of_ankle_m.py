"""How far the hip is in front of the ankle where the shin is tipped forward most."""

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
    deepest_s = limbs.largest(limbs.pitch_deg("shank"), limbs.begin_s, limbs.off_s)[1]
    return limbs.leg_m * limbs.at(limbs.leg()[:, 0], deepest_s)


METRIC = Metric(
    name="hip_ahead_of_ankle_m",
    unit="m",
    number=1,
    definition=(
        "along the lane, from ankle to hip, at the largest forward tip of the shank in the contact; negative: the hip is behind the ankle"
    ),
    source="common practice, no source; lengths: measured, or Drillis and Contini 1966, in Winter",
    symmetry="difference",
    measure=measure,
    places=("shank", "thigh"),
)
