"""How far the blade is tipped onto its inside edge."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.view import any_in
from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return the largest edge angle in each contact [deg], shape (k,).

    Empty where a turn in the contact was not measured.
    """
    unknown = ~view.kinematics.measured | view.kinematics.clipped[:, 1]
    sideways = view.outward * view.kinematics.earth_from_segment[:, 2, 1]
    begin_s = np.where(np.isfinite(view.on_s), view.on_s, view.kinematics.cut.stance_s[1])
    first, stop = view.samples(begin_s, view.off_s)
    out = np.full(len(first), np.nan)
    for k in np.flatnonzero((stop > first) & ~any_in(unknown, first, stop)):
        out[k] = sideways[first[k] : stop[k]].max()
    return np.asarray(np.degrees(np.arcsin(np.clip(out, -1, 1))))


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
