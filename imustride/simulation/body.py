"""The body the feet belong to: its path over the ice, as far as the feet need it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from imustride.simulation.timing import glide_deceleration_m_s2
from imustride.simulation.transitions import GRID_HZ, Course, Shape

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.simulation.drawing import Draw
    from imustride.simulation.timing import Plan

CURVE_OVER_M = 30.0  # the distance `path_curve_deg` refers to


@dataclass(frozen=True, eq=False, slots=True)
class Body:
    """Course of the body on the grid, all of shape (n,); `place_m` of shape (n, 2), earth."""

    speed_m_s: NDArray[np.float64]
    path_m: NDArray[np.float64]
    heading_rad: NDArray[np.float64]
    place_m: NDArray[np.float64]


def body(draw: Draw, plan: Plan) -> Body:
    """Mono-exponential speed while pushing, glide, stop; heading that turns with the path; weave."""
    samples = int(np.ceil(plan.end_s * GRID_HZ)) + 1
    time_s = np.arange(samples) / GRID_HZ
    speed = _smooth(_speed(draw, plan, time_s), 0.12)
    path = np.concatenate([[0.0], np.cumsum((speed[1:] + speed[:-1]) / 2)]) / GRID_HZ
    heading = np.radians(draw.conditions.path_curve_deg) * path / CURVE_OVER_M
    forward = np.column_stack([np.cos(heading), np.sin(heading)])
    steps = (forward[1:] + forward[:-1]) / 2 * np.diff(path)[:, None]
    place = np.vstack([np.zeros((1, 2)), np.cumsum(steps, axis=0)])
    left = np.column_stack([-forward[:, 1], forward[:, 0]])
    place += left * _weave(draw, plan, samples)[:, None]
    return Body(speed, path, heading, place)


def _speed(draw: Draw, plan: Plan, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the speed along the path before smoothing [m/s]."""
    skater, conditions = draw.skater, draw.conditions
    running = np.clip(time_s, plan.body_start_s, plan.push_end_s) - plan.body_start_s
    speed = skater.peak_speed_m_s * (1 - np.exp(-running / skater.speed_rise_s))
    if plan.stumble_order >= 0:
        caught_s = plan.pushes[plan.stumble_order].off_s
        lost = Course(len(time_s))
        lost.move(caught_s - 0.15, caught_s + 0.25, 0.4 * conditions.stumble_ratio)
        lost.move(caught_s + 0.3, caught_s + 2.5, -0.3 * conditions.stumble_ratio)
        speed *= 1 - lost.values()
    slowing = glide_deceleration_m_s2(conditions.plough_deg)
    from_s, to_s = plan.stop_s
    gliding = np.clip(time_s, plan.push_end_s, from_s) - plan.push_end_s
    speed -= slowing * gliding
    at_stop = speed[min(int(from_s * GRID_HZ), len(speed) - 1)]
    braking = np.clip(time_s - from_s, 0, None) * at_stop / max(to_s - 0.3 - from_s, 0.1)
    return np.asarray(np.clip(speed - braking, 0, None))


def _smooth(values: NDArray[np.float64], width_s: float) -> NDArray[np.float64]:
    """Return a twice box-smoothed copy: the acceleration becomes continuous."""
    from scipy.ndimage import uniform_filter1d

    size = int(width_s * GRID_HZ) | 1
    return np.asarray(uniform_filter1d(uniform_filter1d(values, size, mode="nearest"), size, mode="nearest"))


def _weave(draw: Draw, plan: Plan, samples: int) -> NDArray[np.float64]:
    """Return the body's sideways swing towards the pushing foot [m], left positive."""
    course = Course(samples)
    pushes = plan.pushes
    shape = Shape()
    for push, following in pairwise(pushes[1:]):
        from_s = max(push.on_s, pushes[0].off_s)
        width = draw.skater.weave_m * min(2 * (following.off_s - push.off_s), 1.5)
        course.move_to(from_s, following.off_s - 0.05, (1 if push.side == "left" else -1) * width, shape)
    course.move_to(pushes[-1].off_s, pushes[-1].off_s + 1.0, 0.0, shape)
    return course.values()
