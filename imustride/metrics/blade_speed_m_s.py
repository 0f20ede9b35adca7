"""How fast the blade slides."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return the mean horizontal speed in each contact [m/s], shape (k,); empty without a path."""
    out = np.full(len(view.off_s), np.nan)
    if view.path is None:
        return out
    time, speed = view.path.time_s, np.hypot(*view.path.velocity_m_s.T)
    for k, (on_s, off_s) in enumerate(zip(view.on_s, view.off_s, strict=True)):
        inside = (time >= on_s) & (time <= off_s)
        if inside.any():
            out[k] = speed[inside].mean()
    return out


METRIC = Metric(
    name="blade_speed_m_s",
    unit="m/s",
    number=1,
    definition="mean horizontal speed of the middle of the running edge in the contact",
    source="Fasel et al. 2015, doi 10.1016/j.jbiomech.2015.07.001 (ski)",
    symmetry="index",
    measure=measure,
)
