"""Trunk, head and arms of a run: a leaning rod that answers late, a slower head, forearms that swing unevenly."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import bilinear, lfilter, lfilter_zi

from tests.generators.build import OUT, SIDES
from tests.generators.limbs import draw_harmonics, skating, standing_sway, wander
from tests.generators.shapes import GRID_HZ
from tests.generators.turns import about

if TYPE_CHECKING:
    from tests.generators.build import Build, Habits
    from tests.generators.limbs import Lower, Rhythm
    from tests.generators.plan import Plan
    from tests.generators.shapes import Array

LUMBAR = (-0.02, 0.0, 0.06)  # joint of trunk and pelvis, share of the height, pelvis frame


@dataclass(frozen=True, eq=False)
class Upper:
    """earth_from_segment (n, 3, 3) of trunk, head and forearms, and joints (n, 3) [m], by name."""

    trunk: Array
    head: Array
    forearms: dict[str, Array]
    lumbar_m: Array
    neck_m: Array
    elbows_m: dict[str, Array]
    wrists_m: dict[str, Array]


def late(x: Array, lag_s: float) -> Array:
    """Answer of a critically damped second-order system that is `lag_s` late in slow courses."""
    w = 2.0 / lag_s
    b, a = bilinear([w * w], [1.0, 2.0 * w, w * w], GRID_HZ)
    return np.asarray(lfilter(b, a, x, zi=lfilter_zi(b, a) * x[0])[0])


def move_upper(
    h: Habits, build: Build, plan: Plan, lower: Lower, rhythm: Rhythm, heading: Array, rng: np.random.Generator
) -> Upper:  # fmt: skip
    """Move the upper body on top of the pelvis."""
    lean, roll, yaw = lean_trunk(h, plan, rhythm, rng)
    trunk = about(2, heading + yaw) @ about(1, lean) @ about(0, roll)
    slow = [late(x, h["head_lag_s"]) for x in (lean, roll, yaw)]
    nod = np.radians(2.0) * rhythm.swing(rng.uniform(-1.0, 1.0), *draw_harmonics(rng)) ** 2
    level = rng.uniform(0.1, 0.35)
    head = about(2, heading + rng.uniform(0.2, 0.5) * slow[2] + standing_sway(plan, rng))
    head = head @ about(1, level * slow[0] + nod) @ about(0, rng.uniform(0.2, 0.5) * slow[1])
    forearms, upper_arms = {}, {}
    for side in SIDES:
        forearms[side], upper_arms[side] = swing_arm(h, plan, rhythm, side, heading + 0.5 * yaw, rng)
    return assemble(build, lower.pelvis_m, lower.pelvis, trunk, head, forearms, upper_arms)


def lean_trunk(h: Habits, plan: Plan, rhythm: Rhythm, rng: np.random.Generator) -> tuple[Array, Array, Array]:
    """Lean forward, roll and turn from the heading of the trunk [rad]."""
    ready = 0.65 * h["trunk_lean_deg"]
    bounce = rhythm.swing(rng.uniform(-1.0, 1.0), *draw_harmonics(rng)) ** 2 - 0.5
    lean = ready + (h["trunk_lean_deg"] - ready) * skating(plan) + h["trunk_bounce_deg"] * bounce
    lag = h["shoulder_lag_s"] * rhythm.rate_rad_s + wander(plan, 0.1, rng)
    turn = (
        np.radians(h["shoulder_turn_deg"])
        * (1.0 + wander(plan, 0.07, rng))
        * rhythm.swing(lag, *draw_harmonics(rng))
    )
    roll = np.radians(rng.uniform(1.0, 5.0)) * rhythm.swing(rng.uniform(-0.5, 0.5), *draw_harmonics(rng))
    lean = late(np.radians(lean), h["trunk_lag_s"]) + standing_sway(plan, rng)
    return lean, late(roll, h["trunk_lag_s"]), turn + standing_sway(plan, rng)


def swing_arm(
    h: Habits, plan: Plan, rhythm: Rhythm, side: str, heading: Array, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Forearm (n, 3, 3) and unit vector along the upper arm (n, 3): forward with the push of the other leg."""
    out = OUT[side]
    lag = h["arm_lag_s"] * rhythm.rate_rad_s + 0.1 * rng.normal() + wander(plan, 0.12, rng)
    size = np.radians(h["arm_swing_deg"]) * (1.0 + 0.5 * out * h["arm_difference"] + wander(plan, 0.07, rng))
    wave = -out * rhythm.swing(lag, -out * rng.uniform(0.05, 0.2), rng.uniform(-0.1, 0.1), rng.uniform(-0.8, 0.8))  # fmt: skip
    carried = np.radians(rng.uniform(15.0, 35.0) + (rng.uniform(5.0, 20.0)) * skating(plan))
    alpha = carried + size * wave + standing_sway(plan, rng)
    inward = np.radians(rng.uniform(2.0, 8.0)) + np.radians(h["arm_across_deg"]) * (0.3 + 0.7 * wave)
    beta = -out * inward * (0.2 + 0.8 * skating(plan)) + standing_sway(plan, rng)
    twist = out * np.radians(rng.uniform(-10.0, 25.0)) * skating(plan) * (0.6 + 0.4 * wave)
    forearm = about(2, heading) @ about(0, beta) @ about(1, -alpha) @ about(2, twist)
    hangs = 0.6 * (alpha - carried) - np.radians(20.0) * skating(plan)
    upper = about(2, heading) @ about(0, 0.5 * beta + out * np.radians(8.0)) @ about(1, -hangs)
    return forearm, -upper[:, :, 2]


def assemble(
    build: Build, pelvis_m: Array, pelvis: Array, trunk: Array, head: Array, forearms: dict[str, Array], upper_arms: dict[str, Array]
) -> Upper:  # fmt: skip
    """Joints of the upper body; shares of the height after Drillis and Contini (1966), from memory."""
    lumbar = pelvis_m + pelvis @ (build.height_m * np.array(LUMBAR))
    neck = lumbar + build.share(0.25) * trunk[:, :, 2]
    elbows, wrists = {}, {}
    for side in SIDES:
        shoulder = lumbar + trunk @ (build.height_m * np.array([0.0, OUT[side] * 0.11, 0.23]))
        elbows[side] = shoulder + build.share(0.186) * upper_arms[side]
        wrists[side] = elbows[side] - build.share(0.146) * forearms[side][:, :, 2]
    return Upper(trunk, head, forearms, lumbar, neck, elbows, wrists)
