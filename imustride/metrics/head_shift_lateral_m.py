"""How far the head is shifted towards the pushing foot where the push starts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.metrics.extension import glide_before_push
from imustride.metrics.sway import about_mean
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
    if "head" not in limbs.place_m:
        return view.nothing
    shift = about_mean(limbs.time_s, limbs.place_m["head"][:, 0], limbs.stride_s)
    return limbs.outward * limbs.at(shift, limbs.on_s + glide_before_push(view)[0])


METRIC = Metric(
    name="head_shift_lateral_m",
    unit="m",
    number=1,
    definition=(
        "across the lane, from the head's mean over the stride around that instant to the head, at the start of leg "
        "extension (see glide_before_extension_s); positive towards the pushing foot. How far the foot is from the head "
        "is not told: the distance between two blades rests on an assumption"
    ),
    source="common practice, no source",
    symmetry="difference",
    measure=measure,
    places=("head",),
)
