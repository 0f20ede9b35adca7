"""How pelvis, trunk, head and arms turn in a run: in time with the pushes, quiet in the stance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.simulation.timing import SIDES
from imustride.simulation.transitions import GRID_HZ, Course
from imustride.simulation.upper_body import OUTWARD_Y, Arm, Posture

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.simulation.body_draw import Style
    from imustride.simulation.drawing import Draw
    from imustride.simulation.motion import Motion
    from imustride.simulation.timing import Plan

    Floats = NDArray[np.float64]

STREAM = 130
SMOOTHING_S = 0.06
STANDING_LEAN_DEG = 12.0  # after the stop
READY_ARM_DEG = (45.0, -5.0)  # forearm, upper arm


@dataclass(frozen=True, eq=False, slots=True)
class Shares:
    """How much of a motion there is, 0 to 1, shape (n,): of the run as a whole, of pushing."""

    running: Floats
    pushing: Floats


def begin_s(plan: Plan) -> float:
    """Return when the skater begins to move out of the quiet stance."""
    return max(min(plan.pushes[0].off_s - 0.3, plan.body_start_s), plan.stance_s[1])


def shares(plan: Plan, samples: int) -> Shares:
    """Return when the body moves."""
    running, pushing = Course(samples), Course(samples)
    start_s = begin_s(plan)
    running.move(start_s, start_s + 0.5, 1.0)
    running.move(plan.stop_s[1] - 0.5, plan.stop_s[1], -1.0)
    pushing.move(start_s, start_s + 0.5, 1.0)
    pushing.move(plan.push_end_s + 0.1, plan.push_end_s + 1.0, -1.0)
    return Shares(running.values(), pushing.values())


def smooth(values: Floats, width_s: float) -> Floats:
    """Return a copy smoothed twice by a moving mean along the first axis."""
    from scipy.ndimage import uniform_filter1d

    size = int(width_s * GRID_HZ) | 1
    once = uniform_filter1d(values, size, axis=0, mode="nearest")
    return np.asarray(uniform_filter1d(once, size, axis=0, mode="nearest"))


def phase(plan: Plan, samples: int, rng: np.random.Generator, sd_s: float) -> Floats:
    """Return a phase [rad] that is an even multiple of pi at left blade-offs, an odd one at right ones."""
    from scipy.interpolate import PchipInterpolator

    off_s = np.array([push.off_s for push in plan.pushes])
    off_s += sd_s * np.clip(rng.normal(size=len(off_s)), -2, 2)
    first = 0 if plan.pushes[0].side == "left" else 1
    step_s = float(np.median(np.diff(off_s)))
    beats = int(samples / GRID_HZ / step_s) + 2
    beyond_s = step_s * np.arange(1, beats)
    times_s = np.concatenate([off_s[0] - beyond_s[::-1], off_s, off_s[-1] + beyond_s])
    turns = first + np.arange(1 - beats, len(times_s) - beats + 1)
    grid_s = np.arange(samples) / GRID_HZ
    return smooth(np.asarray(np.pi * PchipInterpolator(times_s, turns)(grid_s)), SMOOTHING_S)


def later(values: Floats, by_s: float) -> Floats:
    """Return values as they were a time earlier."""
    grid = np.arange(len(values)) - by_s * GRID_HZ
    return np.interp(grid, np.arange(len(values)), values) if by_s else values


def posture(draw: Draw, style: Style, motion: Motion) -> Posture:
    """Work out the turns of the upper body in a run."""
    plan, samples = motion.plan, len(motion.body.speed_m_s)
    rng = np.random.default_rng([draw.seed, STREAM, draw.run])
    share = shares(plan, samples)
    beats = {name: phase(plan, samples, rng, style.beat_sd_s) for name in ("trunk", "left", "right")}
    shoulders = smooth(later(beats["trunk"], style.shoulder_lag_s), 0.01)
    hips = smooth(later(beats["trunk"], style.pelvis_lag_s), 0.01)
    heading, sway = motion.body.heading_rad, _sway(draw, samples, share, rng)
    lean = _lean(style, plan, samples)
    size = np.radians([style.shoulder_turn_deg, style.lean_swing_deg, style.side_lean_deg])
    turned = share.pushing * size[0] * np.cos(shoulders)
    pitched = lean + share.pushing * size[1] * np.cos(2 * shoulders - 0.6) + sway[0]
    trunk = np.column_stack([
        heading + turned + 0.3 * sway[1],
        pitched,
        share.pushing * size[2] * np.cos(hips) + 0.5 * sway[2],
    ])  # fmt: skip
    pelvis = np.column_stack([
        heading - share.pushing * np.radians(style.pelvis_turn_deg) * np.cos(hips) + 0.2 * sway[1],
        style.pelvis_tilt_ratio * pitched,
        -share.pushing * np.radians(style.pelvis_drop_deg) * np.cos(hips + 0.4) + 0.2 * sway[2],
    ])  # fmt: skip
    nod = share.pushing * np.radians(1.5) * np.cos(2 * shoulders - 1.4)
    head = np.column_stack([
        heading + style.head_follow_ratio * turned + sway[3],
        np.radians(style.head_pitch_deg) + nod + 0.4 * sway[0],
        -0.3 * trunk[:, 2],
    ])  # fmt: skip
    arms = {side: _arm(style, side, share, beats[side], sway[2]) for side in SIDES}
    return Posture(heading, pelvis, trunk, 0.6 * lean + 0.3 * (pitched - lean), head, arms)


def _sway(draw: Draw, samples: int, share: Shares, rng: np.random.Generator) -> Floats:
    """Return four slow unsteadinesses of the quiet stance [rad], shape (4, n)."""
    time_s = np.arange(samples) / GRID_HZ
    rate_hz = draw.conditions.sway_hz * rng.uniform(0.7, 1.3, (4, 1))
    wave = np.sin(2 * np.pi * (rate_hz * time_s + rng.uniform(0, 1, (4, 1))))
    return np.asarray(np.radians(draw.conditions.sway_deg) * (1 - 0.7 * share.running) * wave)


def _lean(style: Style, plan: Plan, samples: int) -> Floats:
    """Return the trunk's forward lean without its swing [rad]."""
    course = Course(samples, np.radians(style.ready_lean_deg))
    start_s = begin_s(plan)
    course.move_to(start_s, start_s + 0.9, np.radians(style.trunk_lean_deg))
    course.move_to(plan.push_end_s + 0.2, plan.push_end_s + 1.6, np.radians(style.ready_lean_deg))
    course.move_to(plan.stop_s[1] - 0.8, plan.stop_s[1], np.radians(STANDING_LEAN_DEG))
    return course.values()


def _arm(style: Style, side: str, share: Shares, beat: Floats, sway: Floats) -> Arm:
    """Swing one arm: as in walking, foremost near the blade-off of the leg of its own side."""
    right = -OUTWARD_Y[side] / 2
    lag_s = style.arm_lag_s + right * style.arm_lag_asymmetry_s
    swing = np.radians(style.arm_swing_deg + right * style.arm_swing_asymmetry_deg)
    forward = OUTWARD_Y[side] * np.cos(smooth(later(beat, lag_s), 0.01))
    ready = np.radians(READY_ARM_DEG)
    forearm = ready[0] + share.pushing * (np.radians(style.arm_mean_deg) - ready[0] + swing * forward)
    upper = ready[1] + share.pushing * (np.radians(style.upper_arm_swing_deg) * forward)
    across = float(np.arcsin(np.sqrt(style.arm_across_ratio)))
    return Arm(forearm + sway, upper + 0.5 * sway, across)
