"""How the body went along the lane."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.kinematics import BodyPath
from imustride.trajectory.gates import gate_places_m
from imustride.trajectory.middle import middle, steps_averaged_out

if TYPE_CHECKING:
    from collections.abc import Sequence

    from imustride.kinematics import Gates
    from imustride.trajectory.joint import Rhythm, Solution
    from imustride.trajectory.settings import TrackSettings
    from imustride.trajectory.skate import Course


def body_path(
    courses: Sequence[Course],
    solution: Solution,
    rhythm: Rhythm,
    lane_rad: float,
    gates: Gates | None,
    settings: TrackSettings,
) -> BodyPath:
    """Average the steps out of the middle of the feet, along the lane."""
    feet = middle(courses, len(solution.value), settings.step_s)
    body = steps_averaged_out(feet, rhythm.stride_s(feet.time_s))
    way = np.array([np.cos(lane_rad), np.sin(lane_rad)])
    root = settings.sd_factor * np.asarray(np.linalg.cholesky(solution.covariance), float)
    along = (body.at(solution.value) - feet.at(solution.value)[0]) @ way
    spread = np.einsum("nik,i->nk", body.by - feet.by[0], way) @ root
    speed_root = np.gradient(spread, body.time_s, axis=0)
    return BodyPath(
        body.time_s,
        along,
        np.gradient(along, body.time_s),
        np.hypot(np.linalg.norm(speed_root, axis=1), settings.body_speed_sd_m_s),
        spread,
        speed_root,
        np.zeros(0) if gates is None else gate_places_m(gates, settings),
        solution.gate_s,
        solution.gate_miss_m,
    )
