"""How far out a push carries the blade."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.along_path import ACROSS, travelled_m
from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [m], shape (k,); empty without a path."""
    return np.asarray(view.outward * travelled_m(view, view.on_s, view.off_s, ACROSS))


METRIC = Metric(
    name="lateral_travel_m",
    unit="m",
    number=1,
    definition="across the lane, outward, from blade-on to blade-off",
    source="Dissanayake et al. 2001 (blade constraint); no norm",
    symmetry="difference",
    measure=measure,
)
