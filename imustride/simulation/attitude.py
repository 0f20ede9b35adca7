"""Attitude of a skate over the run: pitch, edge, turn and load as smooth courses on the grid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.simulation.steps import OUTWARD, Step, rise_shape
from imustride.simulation.transitions import GRID_HZ, Course, Shape, wander

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.simulation.body import Body
    from imustride.simulation.drawing import Draw
    from imustride.simulation.timing import Plan

    Floats = NDArray[np.float64]

SHOCK_STOP_S = 0.006
TOE_UP_RAD = -0.02


@dataclass(frozen=True, eq=False, slots=True)
class Attitude:
    """Yaw, pitch, roll [rad] (z, y', x'') of the skate and the load on it (1: whole body), shape (n,)."""

    yaw: Floats
    pitch: Floats
    roll: Floats
    load: Floats


@dataclass(frozen=True, slots=True)
class _Courses:
    pitch: Course
    edge: Course
    turn: Course
    load: Course


def attitude(draw: Draw, plan: Plan, body: Body, steps: tuple[Step, ...]) -> Attitude:
    """Build the attitude of one skate from its steps."""
    side = steps[0].contact.side
    rng = np.random.default_rng([draw.seed, 70 + (side == "right"), draw.run])
    samples = len(body.speed_m_s)
    first = steps[0]
    courses = _Courses(
        Course(samples, first.pitch_rad[0] + np.radians(rng.normal(0, 0.7))),
        Course(samples, first.edge_rad[0] if first.contact.kind == "stance" else _stance_edge(draw, rng)),
        Course(samples, first.turn_rad[0]),
        Course(samples, 0.5),
    )
    _shocks(courses, draw, plan.shocks_s[:2], side)
    for i, step in enumerate(steps):
        if i > 0:
            _land(courses, step, draw)
        if i + 1 < len(steps):
            _leave(courses, step, steps[i + 1], draw, plan, rng)
    _stop(courses, draw, plan, side, rng)
    _shocks(courses, draw, plan.shocks_s[2:], side)
    return _joined(draw, plan, body, courses, side, rng)


def _stance_edge(draw: Draw, rng: np.random.Generator) -> float:
    return float(np.radians(draw.skater.stance_roll_deg + rng.normal(0, 1.0)))


def _land(courses: _Courses, step: Step, draw: Draw) -> None:
    """From blade-on: the blade settles flat, takes the load, starts to lean."""
    contact = step.contact
    on_s = contact.on_s
    from_s = on_s + step.settle_s[0]
    courses.pitch.move_to(from_s, from_s + step.settle_s[1], step.pitch_rad[1])
    load = 0.85 if contact.kind == "push" else 0.5
    courses.load.move_to(on_s, on_s + draw.skater.load_rise_s, load)
    if contact.kind == "glide":
        courses.turn.move_to(on_s + 0.25, on_s + 0.8, step.turn_rad[1])


def _leave(
    courses: _Courses, step: Step, following: Step, draw: Draw, plan: Plan, rng: np.random.Generator
) -> None:
    """To blade-off and through the swing to the next blade-on."""
    contact, next_s = step.contact, following.contact.on_s
    swing_s = next_s - contact.off_s
    shape = rise_shape(draw)
    plain = Shape(float(rng.uniform(-5, 5)), float(rng.uniform(0, 0.5)))
    if contact.order >= 0:
        courses.edge.move_to(*step.lean_s, step.edge_rad[1], plain)
        begin_s = max(contact.on_s, contact.off_s - 0.5, plan.stance_s[1])
        courses.turn.move_to(begin_s, contact.off_s + 0.02, step.turn_rad[1])
        courses.load.move(begin_s, contact.off_s - 0.08, 0.15)
        if contact.kind == "standing" and contact.order == 1:
            courses.load.move(contact.off_s - 0.4, contact.off_s - 0.2, 0.35)
    courses.load.move_to(contact.off_s - 0.07, contact.off_s, 0.0)
    if contact.kind == "push":
        early = float(np.radians(draw.skater.early_rise_deg * rng.uniform(0.5, 1.0)))
        middle_s = (contact.on_s + contact.off_s) / 2
        courses.pitch.move(max(middle_s, contact.off_s - 0.3), contact.off_s - 0.02, early)
    courses.pitch.move(*step.rise_s, step.rise_rad, shape)
    back_s = step.rise_s[1] - float(rng.uniform(0.0, 0.3)) * (step.rise_s[1] - step.rise_s[0])
    # A toe-up landing is prepared while the foot is still high: the heel needs the room.
    spare = rng.uniform(0.2, 0.35) if following.pitch_rad[0] < TOE_UP_RAD else rng.uniform(0.0, 0.15)
    landed_s = next_s - float(spare) * swing_s
    back_s = min(back_s + draw.skater.heel_up_ratio * swing_s, landed_s - max(0.12, 0.45 * swing_s))
    courses.pitch.move_to(back_s, landed_s, following.pitch_rad[0], plain)
    swing = (contact.off_s + 0.1 * swing_s, next_s - 0.05 * swing_s)
    courses.edge.move_to(max(swing[0], step.lean_s[1] - 0.02), swing[1], following.edge_rad[0], plain)
    courses.turn.move_to(*swing, following.turn_rad[0])


def _shocks(courses: _Courses, draw: Draw, times_s: tuple[float, ...], side: str) -> None:
    """Raise the heels and drop them; the toes stay on the ice."""
    if draw.conditions.shock_kind != "heels":
        return
    later = draw.conditions.shock_apart_s * (side == "right")
    height = draw.conditions.shock_height_m
    angle = float(np.arcsin(min(height / draw.skater.blade_length_m, 0.5)))
    fall_s = float(np.sqrt(2 * height / 9.81)) * 1.2
    for time_s in times_s:
        hit_s = time_s + later
        courses.pitch.move(hit_s - fall_s - 0.36, hit_s - fall_s - 0.04, angle)
        courses.pitch.drop(hit_s, fall_s, -angle, SHOCK_STOP_S)


def _stop(courses: _Courses, draw: Draw, plan: Plan, side: str, rng: np.random.Generator) -> None:
    """Turn both blades across the way, or plough, and stand."""
    from_s, to_s = plan.stop_s
    outward = OUTWARD[side]
    if draw.conditions.stop_kind == "hockey":
        across = np.radians(draw.stream("attitude").uniform(60, 85)) * (1 if draw.seed % 2 else -1)
        courses.turn.move_to(from_s - 0.1, from_s + 0.25, outward * across)
        lean = np.radians(rng.uniform(20, 35)) * outward * np.sign(across)
    else:
        courses.turn.move_to(from_s - 0.1, from_s + 0.4, -np.radians(rng.uniform(25, 45)))
        lean = np.radians(rng.uniform(12, 25))
    courses.edge.move_to(from_s, from_s + 0.4, float(lean))
    courses.edge.move_to(to_s - 0.4, to_s, _stance_edge(draw, rng))
    courses.pitch.move_to(from_s, from_s + 0.3, np.radians(rng.uniform(-1, 4)))
    courses.pitch.move_to(to_s - 0.3, to_s, np.radians(draw.skater.stance_pitch_deg))


def _joined(
    draw: Draw, plan: Plan, body: Body, courses: _Courses, side: str, rng: np.random.Generator
) -> Attitude:
    """Add sway and unsteadiness, then put the angles together."""
    samples = len(body.speed_m_s)
    time_s = np.arange(samples) / GRID_HZ
    moving = Course(samples)
    begin_s = min(plan.pushes[0].off_s - 0.3, plan.body_start_s)
    moving.move(begin_s, begin_s + 0.4, 1.0)
    moving.move(plan.stop_s[1] - 0.4, plan.stop_s[1], -1.0)
    active = moving.values()
    unsteady = np.radians(draw.skater.tremor_deg) * active
    sway = np.radians(draw.conditions.sway_deg) * (1 - active)
    phase = 2 * np.pi * (draw.conditions.sway_hz * time_s + rng.uniform(0, 1, (3, 1)))
    lean = sway * np.sin(phase + 0.5 * np.sin(0.37 * phase))
    pitch = courses.pitch.values() + 0.5 * lean[1] + unsteady * wander(rng, samples, 10.0)
    edge = courses.edge.values() + lean[0] + unsteady * wander(rng, samples, 10.0)
    turn = courses.turn.values() + 0.3 * lean[2] + 0.7 * unsteady * wander(rng, samples, 6.0)
    roll = OUTWARD[side] * edge
    coupling = np.arctan2(np.sin(pitch) * np.sin(roll), np.cos(roll))
    yaw = body.heading_rad + OUTWARD[side] * turn + draw.skater.steer_ratio * coupling
    return Attitude(yaw, pitch, roll, np.clip(courses.load.values(), 0, None))
