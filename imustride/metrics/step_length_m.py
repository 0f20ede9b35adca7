"""Length of a step along the lane."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.across_feet import apart_m
from imustride.metrics.along_path import ALONG
from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [m], shape (k,); empty without both paths.

    Which foot steps further rests on the fit's assumption that the feet are beside each other over whole strides: left
    and right are not compared.
    """
    if view.other is None:
        return np.full(len(view.on_s), np.nan)
    return np.asarray(apart_m(view, view.on_s, view.other.on_s, ALONG))


METRIC = Metric(
    name="step_length_m",
    unit="m",
    number=1,
    definition="along the lane, from this blade at its blade-on to the other foot's blade at its next blade-on",
    source="see stride_length_m; a step as in step_time_s",
    symmetry="none",
    measure=measure,
)
