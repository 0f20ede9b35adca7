"""How much of the straight leg there is between hip and ankle at blade-off."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return the share of each push, shape (k,)."""
    limbs = view.limbs
    if limbs is None:
        return view.nothing
    return limbs.at(np.linalg.norm(limbs.leg(), axis=1), limbs.off_s)


METRIC = Metric(
    name="knee_extension_ratio",
    unit="",
    number=1,
    definition=(
        "at blade-off: distance from hip to ankle as a share of the athlete's own straight leg (thigh and shank, measured or by published proportions)"
    ),
    source="proportions: Drillis and Contini 1966, in Winter",
    symmetry="index",
    measure=measure,
    places=("shank", "thigh"),
)
