"""Length of a stride along the lane."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.along_path import ALONG, travelled_m
from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [m], shape (k,); empty without a path."""
    return np.asarray(travelled_m(view, view.on_s, view.next_on_s, ALONG))


METRIC = Metric(
    name="stride_length_m",
    unit="m",
    number=1,
    definition="along the lane, blade-on to the next blade-on of the same foot",
    source="Khandan et al. 2022, doi 10.1038/s41598-022-26777-9",
    symmetry="index",
    measure=measure,
)
