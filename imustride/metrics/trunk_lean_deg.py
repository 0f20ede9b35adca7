"""How far the trunk leans forward in a contact."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return the mean angle of each push [deg], shape (k,)."""
    limbs = view.limbs
    if limbs is None:
        return view.nothing
    pitch = limbs.pitch_deg("trunk")
    means = [
        pitch[span].mean() if span.stop > span.start else np.nan
        for span in limbs.spans(limbs.begin_s, limbs.off_s)
    ]
    return np.array(means)


METRIC = Metric(
    name="trunk_lean_deg",
    unit="deg",
    number=1,
    definition=(
        "mean over the contact of the trunk's pitch in its own sagittal plane, zero in upright standing, positive forward"
    ),
    source="Wu et al. 2002 (ISB)",
    symmetry="difference",
    measure=measure,
    places=("trunk",),
)
