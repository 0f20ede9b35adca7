"""How far the shin tips forward at most in a contact."""

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
    return limbs.largest(limbs.pitch_deg("shank"), limbs.begin_s, limbs.off_s)[0]


METRIC = Metric(
    name="shank_inclination_max_deg",
    unit="deg",
    number=1,
    definition=(
        "largest in the contact: pitch of the shank in its own sagittal plane (its x axis below the horizontal), zero in straight-legged standing"
    ),
    source="angle of a segment: Wu et al. 2002 (ISB); forward lean of the shin: common practice, no source",
    symmetry="difference",
    measure=measure,
    places=("shank",),
)
