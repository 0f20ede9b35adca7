"""How far out the blade points as it pushes: its standard deviation."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.track_angle_deg import measure as angle
from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


# What the covariance of the fit does not see: levelling of the blade, boot flex (simulated, DEVELOPERS).
FLOOR_DEG = 0.4


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [deg], shape (k,); empty without a path. The lane's shared error is in it."""
    if view.path is None:
        return np.full(len(view.off_s), np.nan)
    own = np.linalg.norm(view.path.at(view.path.heading_root, view.off_s - 0.05), axis=1)
    spread = np.hypot(np.degrees(np.hypot(own, view.path.lane_sd_rad)), FLOOR_DEG)
    return np.asarray(np.where(np.isnan(angle(view)), np.nan, spread))


METRIC = Metric(
    name="track_angle_deg_sd",
    unit="deg",
    number=1,
    definition="standard deviation of track_angle_deg, the lane's shared error included",
    source="the covariance of the joint fit, and a floor",
    symmetry="none",
    measure=measure,
)
