"""How far out the blade points as it pushes: its standard deviation."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.along_path import BLADE_OFF_SD_S
from imustride.metrics.track_angle_deg import BEFORE_OFF_S
from imustride.metrics.track_angle_deg import measure as angle
from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


# What the covariance of the fit does not see: levelling of the blade, boot flex (simulated, DEVELOPERS).
FLOOR_DEG = 0.3


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [deg], shape (k,); empty without a path. The lane's shared error is in it."""
    if view.path is None:
        return np.full(len(view.off_s), np.nan)
    own = np.linalg.norm(view.path.at(view.path.heading_root, view.off_s - BEFORE_OFF_S), axis=1)
    heading = np.unwrap(view.path.heading_rad)
    around = np.stack(
        [view.off_s - BEFORE_OFF_S - BLADE_OFF_SD_S, view.off_s - BEFORE_OFF_S + BLADE_OFF_SD_S]
    )
    turned = 0.5 * np.diff(np.interp(around, view.kinematics.time_s, heading), axis=0)[0]
    spread = np.degrees(np.sqrt(own**2 + view.path.lane_sd_rad**2 + turned**2 + np.radians(FLOOR_DEG) ** 2))
    return np.asarray(np.where(np.isnan(angle(view)), np.nan, spread))


METRIC = Metric(
    name="track_angle_deg_sd",
    unit="deg",
    number=1,
    definition="standard deviation of track_angle_deg, the lane's shared error included",
    source="the covariance of the joint fit, how fast the blade turns at that instant, and a floor",
    symmetry="none",
    measure=measure,
)
