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


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [m], shape (k,); empty without both paths."""
    if view.other is None:
        return np.full(len(view.off_s), np.nan)
    return np.asarray(apart_sd_m(view, view.off_s, view.other.off_s, ACROSS))


METRIC = Metric(
    name="stride_width_m_sd",
    unit="m",
    number=1,
    definition="standard deviation of stride_width_m from the covariance of the joint fit, its assumptions included",
    source="see stride_width_m",
    symmetry="none",
    measure=measure,
)
