"""Path of the body's centre and where it wants its feet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tests.generators.shapes import GRID_HZ, Course, integral, step

if TYPE_CHECKING:
    from tests.generators.factors import Factors
    from tests.generators.plan import Plan
    from tests.generators.shapes import Array

DECELERATION_M_S2 = 0.15  # gliding
STANDING_PUSH_M = 0.7  # furthest the body goes while the standing foot still pushes


@dataclass(frozen=True, eq=False)
class Body:
    """Centre of the body on the fine grid: speed [m/s], heading [rad], place on the ice [m]."""

    speed_m_s: Array
    heading_rad: Array
    place_m: Array

    def mean_speed(self, start_s: float, end_s: float) -> float:
        """Mean speed between two times [m/s]."""
        i, j = int(start_s * GRID_HZ), int(end_s * GRID_HZ) + 1
        return float(np.mean(self.speed_m_s[i:j]))


def move_body(f: Factors, plan: Plan) -> Body:
    """Speed rises as a hyperbolic tangent from the start, drops in the glide, ends in the brake."""
    samples = int(plan.end_s * GRID_HZ) + 1
    since = np.maximum(np.arange(samples) / GRID_HZ - plan.start_s, 0.0)
    tau = float(f["speed_distance_s"])
    rise = float(f["top_speed_m_s"]) * np.tanh(since / tau)
    ramp_s = 0.5
    standing = since < plan.stances[1].off_s - plan.start_s
    while np.sum((rise * step(since / ramp_s))[standing]) > STANDING_PUSH_M * GRID_HZ:
        ramp_s *= 1.2
    speed = rise * step(since / ramp_s)
    ripple = Course(samples, 1.0)
    for stance in plan.stances[1:-2]:
        ripple.add_bump(stance.off_s - 0.18, stance.off_s + 0.14, float(f["speed_ripple"]))
    speed = speed * ripple.value
    drop = Course(samples, 0.0)
    glide = plan.brake_s[0] - plan.pushes_end_s
    drop.add_step(plan.pushes_end_s, plan.brake_s[0], DECELERATION_M_S2 * glide / max(speed.max(), 1.0))
    speed = speed * (1.0 - drop.value)
    brake = Course(samples, 1.0)
    brake.add_step(plan.brake_s[0], plan.brake_s[1], -1.0, "septic")
    speed = speed * brake.value
    heading = float(f["curve_1_m"]) * integral(speed)
    place = integral(speed[:, None] * np.column_stack([np.cos(heading), np.sin(heading)]))
    return Body(speed, heading, place)
