"""How far the knee is bent at blade-off."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.registry import Metric

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one angle a push [deg], shape (k,)."""
    limbs = view.limbs
    if limbs is None:
        return view.nothing
    return limbs.at(limbs.flexion_deg("thigh", "shank"), limbs.off_s)


METRIC = Metric(
    name="knee_flexion_off_deg",
    unit="deg",
    number=1,
    definition=(
        "at blade-off: knee flexion: turn of the shank against the thigh about the thigh's sideways axis, zero in straight-legged standing"
    ),
    source="Grood and Suntay 1983; Wu et al. 2002 (ISB)",
    symmetry="difference",
    measure=measure,
    places=("shank", "thigh"),
)
