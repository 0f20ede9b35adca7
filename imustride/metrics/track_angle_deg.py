"""How far out the blade points as it pushes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


BEFORE_OFF_S = 0.05
SLOWEST_M_S = 1.0


def measure(view: PushView) -> NDArray[np.float64]:
    """Return the angle of the running direction outward from the lane [deg], shape (k,).

    Empty without a path, and where the blade moves slower than 1 m/s.
    """
    if view.path is None:
        return np.full(len(view.off_s), np.nan)
    at_s = view.off_s - BEFORE_OFF_S
    speed = np.hypot(*view.path.at(view.path.velocity_m_s, at_s).T)
    heading = np.unwrap(view.path.heading_rad)
    angle = np.interp(at_s, view.kinematics.time_s, heading)
    angle = np.degrees(view.outward * np.angle(np.exp(1j * angle)))
    return np.asarray(np.where((speed >= SLOWEST_M_S) & np.isfinite(view.on_s), angle, np.nan))


METRIC = Metric(
    name="track_angle_deg",
    unit="deg",
    number=1,
    definition="angle of the running direction (y_segment x z_earth) outward from the lane, 50 ms before blade-off; empty below 1 m/s",
    source="Dissanayake et al. 2001 (blade constraint); no norm",
    symmetry="difference",
    measure=measure,
)
