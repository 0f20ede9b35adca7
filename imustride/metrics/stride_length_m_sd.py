"""Length of a stride along the lane: its standard deviation."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.along_path import ALONG, travelled_m, travelled_sd_m
from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView

# What the covariance of the fit does not see: the body's lead at the gates changes with its posture (simulated, DEVELOPERS).
SCALE_SD = 0.015


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [m], shape (k,); empty without a path."""
    length = travelled_m(view, view.on_s, view.next_on_s, ALONG)
    return np.asarray(np.hypot(travelled_sd_m(view, view.on_s, view.next_on_s, ALONG), SCALE_SD * length))


METRIC = Metric(
    name="stride_length_m_sd",
    unit="m",
    number=1,
    definition="standard deviation of stride_length_m from the covariance of the joint fit, and 1.5 % of the length",
    source="Khandan et al. 2022, doi 10.1038/s41598-022-26777-9",
    symmetry="none",
    measure=measure,
)
