"""How far out the leg points at blade-off."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one angle a push [deg], shape (k,)."""
    limbs = view.limbs
    if limbs is None:
        return view.nothing
    line = limbs.leg() if "thigh" in limbs.attitude else limbs.long_axis("shank")
    outward = np.degrees(np.arctan2(-limbs.outward * line[:, 1], line[:, 2]))
    return limbs.at(outward, limbs.off_s)


METRIC = Metric(
    name="leg_angle_off_deg",
    unit="deg",
    number=1,
    definition=(
        "at blade-off: angle of the line from hip to ankle (of the shank where no thigh is worn) from the vertical in the lane's frontal plane, positive outward; the push-off angle of speed skating, from the ice, is 90 degrees minus this"
    ),
    source="push-off angle: de Boer et al. 1986, doi 10.1123/ijsb.2.3.175 (from memory)",
    symmetry="difference",
    measure=measure,
    places=("shank",),
)
