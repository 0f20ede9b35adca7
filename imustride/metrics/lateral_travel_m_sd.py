"""How far out a push carries the blade: its standard deviation."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.along_path import ACROSS, BLADE_OFF_SD_S, BLADE_ON_SD_S, speed_at_m_s, travelled_sd_m
from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [m], shape (k,); empty without a path."""
    begin = BLADE_ON_SD_S * speed_at_m_s(view, view.on_s, ACROSS)
    end = BLADE_OFF_SD_S * speed_at_m_s(view, view.off_s, ACROSS)
    spread = travelled_sd_m(view, view.on_s, view.off_s, ACROSS)
    return np.asarray(np.sqrt(spread**2 + begin**2 + end**2))


METRIC = Metric(
    name="lateral_travel_m_sd",
    unit="m",
    number=1,
    definition="standard deviation of lateral_travel_m from the covariance of the joint fit, and of the instants",
    source="Dissanayake et al. 2001 (blade constraint); no norm",
    symmetry="none",
    measure=measure,
)
