"""How far the blade is tipped onto its inside edge."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return the largest edge angle in each contact [deg], shape (k,).

    Empty where a turn in the contact was not measured.
    """
    unknown = ~view.kinematics.measured | view.kinematics.clipped[:, 1]
    sign = 1.0 if view.kinematics.side == "left" else -1.0
    tipped = np.arcsin(np.clip(sign * view.kinematics.earth_from_segment[:, 2, 1], -1, 1))
    out = np.full(len(view.off_s), np.nan)
    begin = np.where(np.isfinite(view.on_s), view.on_s, view.kinematics.cut.stance_s[1])
    for k, (on_s, off_s) in enumerate(zip(begin, view.off_s, strict=True)):
        if np.isfinite(off_s) and not unknown[view.samples(on_s, off_s)].any():
            out[k] = np.degrees(tipped[view.samples(on_s, off_s)].max())
    return out


METRIC = Metric(
    name="edge_angle_deg",
    unit="deg",
    number=1,
    definition=(
        "largest edge angle in the contact: asin(y_segment . z_earth) on the left foot, its negative "
        "on the right, positive towards the inside edge, zero in the own quiet stance"
    ),
    source="compare van der Kruk et al. 2016 (skate lean angle)",
    symmetry="difference",
    measure=measure,
)
