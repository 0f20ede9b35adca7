"""How far the shin tips forward over the skate at most in a contact."""

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
    return limbs.largest(limbs.flexion_deg("skate", "shank"), limbs.begin_s, limbs.off_s)[0]


METRIC = Metric(
    name="shank_to_skate_angle_max_deg",
    unit="deg",
    number=1,
    definition=(
        "largest in the contact: turn of the shank against the skate about the skate's sideways axis, zero in straight-legged standing, where it is ankle dorsiflexion but for what the boot lets the foot move in it"
    ),
    source="Grood and Suntay 1983; Wu et al. 2002 (ISB)",
    symmetry="difference",
    measure=measure,
    places=("skate", "shank"),
)
