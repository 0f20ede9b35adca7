"""How the body went along the lane."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.kinematics import BodyPath
from imustride.trajectory.gates import gate_places_m
from imustride.trajectory.middle import averaged, middle

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
    """Average the steps out of the middle of the feet, along the lane.

    The mean over a whole stride is free of the steps but bends the path where the speed changes; what it
    does to its own result is taken off once.
    """
    feet = middle(courses, len(solution.value), settings.step_s)
    time = feet.time_s
    stride = rhythm.stride_s(time)
    way = np.array([np.cos(lane_rad), np.sin(lane_rad)])
    root = np.asarray(np.linalg.cholesky(solution.covariance), float)
    along = feet.at(solution.value) @ way
    spread = np.einsum("nik,i->nk", feet.by, way) @ root
    both = np.column_stack((along - along[0], spread - spread[0]))
    once = averaged(time, both, time, stride)
    smooth = 2 * once - averaged(time, once, time, stride)
    speed = np.gradient(smooth, time, axis=0)
    return BodyPath(
        time,
        np.ascontiguousarray(smooth[:, 0]),
        np.ascontiguousarray(speed[:, 0]),
        np.ascontiguousarray(smooth[:, 1:]),
        np.ascontiguousarray(speed[:, 1:]),
        np.zeros(0) if gates is None else gate_places_m(gates, settings),
        solution.gate_s,
        solution.gate_miss_m,
    )
