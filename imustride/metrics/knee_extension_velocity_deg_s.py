"""How fast the knee extends in the push."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.metrics.limbs import AFTER_OFF_S, GRID_HZ
from imustride.metrics.smoothing import slope
from imustride.registry import Metric

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return the largest rate of knee extension of each push [deg/s], shape (k,)."""
    limbs = view.limbs
    if limbs is None:
        return view.nothing
    knee = limbs.flexion_deg("thigh", "shank")
    deepest_s = limbs.largest(knee, limbs.begin_s, limbs.off_s)[1]
    extending = -slope(knee, 1 / GRID_HZ)
    return limbs.largest(extending, deepest_s, limbs.off_s + AFTER_OFF_S)[0]


METRIC = Metric(
    name="knee_extension_velocity_deg_s",
    unit="deg/s",
    number=1,
    definition=(
        "largest rate at which knee flexion falls from its largest value in the contact to 0.05 s after blade-off"
    ),
    source="de Boer et al. 1986, doi 10.1123/ijsb.2.3.175 (knee angular velocity in push-off)",
    symmetry="index",
    measure=measure,
    places=("shank", "thigh"),
)
