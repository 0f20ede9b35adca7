"""Width of a stride across the lane."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.across_feet import apart_m
from imustride.metrics.along_path import ACROSS
from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [m], shape (k,); empty without both paths.

    Mostly what the fit assumes of the distance between the feet: not for comparison.
    """
    if view.other is None:
        return np.full(len(view.off_s), np.nan)
    return np.asarray(np.abs(apart_m(view, view.off_s, view.other.off_s, ACROSS)))


METRIC = Metric(
    name="stride_width_m",
    unit="m",
    number=1,
    definition="across the lane, absolute, from this blade-off to the other foot's next blade-off; mostly the fit's assumption",
    source="Khandan et al. 2022; see stride_length_m",
    symmetry="none",
    measure=measure,
)
