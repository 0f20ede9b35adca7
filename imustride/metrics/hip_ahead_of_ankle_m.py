"""How far the hip is in front of the ankle where the shin is tipped forward most."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView

# The deepest posture is flat: a single instant of it is not well defined.
DEEP_WITHIN_DEG = 3.0


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one distance a push [m], shape (k,); empty without lengths of the segments."""
    limbs = view.limbs
    if limbs is None:
        return view.nothing
    tipped, ahead = limbs.pitch_deg("shank"), limbs.leg_m * limbs.leg()[:, 0]
    out = view.nothing
    for k, span in enumerate(limbs.spans(limbs.begin_s, limbs.off_s)):
        piece = tipped[span]
        if len(piece) and np.isfinite(piece).all():
            out[k] = ahead[span][piece >= piece.max() - DEEP_WITHIN_DEG].mean()
    return out


METRIC = Metric(
    name="hip_ahead_of_ankle_m",
    unit="m",
    number=1,
    definition=(
        "along the lane, from ankle to hip, mean while the shank is within 3 degrees of its largest forward tip in the contact; negative: the hip is behind the ankle"
    ),
    source="common practice, no source; lengths: measured, or Drillis and Contini 1966, in Winter",
    symmetry="difference",
    measure=measure,
    places=("shank", "thigh"),
)
