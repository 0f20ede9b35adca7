"""Width of a stride across the lane: its standard deviation."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.across_feet import apart_sd_m
from imustride.metrics.along_path import ACROSS
from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


# What the covariance of the fit does not see: how far apart the feet of this skater really are (simulated, DEVELOPERS).
FLOOR_M = 0.2


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [m], shape (k,); empty without both paths."""
    if view.other is None:
        return np.full(len(view.off_s), np.nan)
    return np.asarray(np.hypot(apart_sd_m(view, view.off_s, view.other.off_s, ACROSS), FLOOR_M))


METRIC = Metric(
    name="stride_width_m_sd",
    unit="m",
    number=1,
    definition="standard deviation of stride_width_m from the covariance of the joint fit, and 0.2 m for what it assumes of the feet",
    source="see stride_width_m",
    symmetry="none",
    measure=measure,
)
