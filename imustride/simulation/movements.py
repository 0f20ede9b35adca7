"""Movements a skater does at the boards before the runs, one after the other in one recording.

Straight-legged standing, two slow squats, two turns of trunk and pelvis, two swings of both arms, standing still
between them. What is drawn is common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.simulation.body_sensors import felt, wobbled
from imustride.simulation.limbs import span_ratio
from imustride.simulation.posture import smooth
from imustride.simulation.rotations import apply, turn, yaw_pitch_roll
from imustride.simulation.sensors import record
from imustride.simulation.timing import SIDES
from imustride.simulation.transitions import GRID_HZ, Course
from imustride.simulation.upper_body import OUTWARD_Y, Arm, Posture, Segment, assemble, hips_from_pelvis
from imustride.simulation.whole_body import ANKLE_M

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.recording import SensorLog
    from imustride.simulation.body_draw import BodyDraw
    from imustride.simulation.drawing import Draw

    Floats = NDArray[np.float64]

STREAM = 150
BEFORE_S = 150.0  # from the begin of the recording to the begin of the first run's
ENDS_S = 0.02  # of the grid not recorded
HIPS_BACK = 0.08  # radians that the legs lean back for each squared radian of knee bend
SOFT_DEG = 12.0  # knees while the trunk turns
SWAY_HZ, SWAY_DEG = 0.3, 0.2


@dataclass(frozen=True, eq=False, slots=True)
class Courses:
    """What happens when: shares 0 to 1 of squat and of knees kept soft, angles [rad] of turns and arms, shape (n,)."""

    squat: Floats
    soft: Floats
    turn_rad: Floats
    arms_rad: Floats


def courses(rng: np.random.Generator) -> Courses:
    """Lay out the recording."""
    u = rng.uniform
    turned, forward, backward = np.radians([u(32, 45), u(35, 50), u(15, 30)])
    moves: dict[str, list[tuple[float, float, float]]] = {"squat": [], "soft": [], "turn": [], "arms": []}

    def go(what: str, at_s: float, lasts_s: float, amount: float) -> float:
        moves[what].append((at_s, at_s + lasts_s, amount))
        return at_s + lasts_s

    at_s = u(3.6, 4.4)
    for _ in range(2):
        at_s = go("squat", at_s, u(1.1, 1.5), 1.0) + u(0.2, 0.4)
        at_s = go("squat", at_s, u(1.1, 1.5), -1.0) + u(0.3, 0.6)
    at_s = go("soft", at_s + u(0.8, 1.4), 0.5, 1.0)
    for _ in range(2):
        for amount, lasts_s in ((turned, 0.6), (-2 * turned, 1.1), (turned, 0.6)):
            at_s = go("turn", at_s, lasts_s * u(0.9, 1.3), amount)
    at_s = go("soft", at_s, 0.5, -1.0) + u(1.0, 1.6)
    for _ in range(2):
        for amount, lasts_s in ((forward, 0.5), (-forward - backward, 0.8), (backward, 0.45)):
            at_s = go("arms", at_s, lasts_s * u(0.9, 1.3), amount)
    samples = round((at_s + u(1.5, 2.0)) * GRID_HZ)
    return Courses(*(_course(moves[name], samples) for name in ("squat", "soft", "turn", "arms")))


def _course(moves: list[tuple[float, float, float]], samples: int) -> Floats:
    course = Course(samples)
    for from_s, to_s, amount in moves:
        course.move(from_s, to_s, amount)
    return course.values()


def movements(drawn: Draw, body: BodyDraw) -> dict[str, dict[str, SensorLog]]:
    """Record the movements: kind, then place; skates too. The clocks run on from here to the runs."""
    rng = np.random.default_rng([drawn.seed, STREAM])
    done = courses(rng)
    segments = moved(drawn, body, done, rng)
    moving = _moving(done)
    span_s = (ENDS_S, (len(moving) - 1) / GRID_HZ - ENDS_S)
    logs = {}
    for number, (place, segment) in enumerate(segments.items()):
        side = place.removesuffix("_skate")
        worn = drawn.devices.get(side) or body.devices.get(place)
        if worn is None:
            continue
        own, tissue = (np.random.default_rng([drawn.seed, STREAM + 1 + k, number]) for k in (0, 1))
        earlier_s = worn.clock_offset_s - BEFORE_S * (1 + worn.clock_drift_ppm * 1e-6)
        device = replace(worn, clock_offset_s=earlier_s, gaps=0)
        wobble_deg = 0.0 if side in SIDES else body.style.wobble_deg
        force, rate = wobbled(*felt(device, segment), wobble_deg, moving, tissue)
        logs[place] = record(device, side, force, rate, span_s, span_s, own).log
    return {"all": logs}


def _moving(done: Courses) -> Floats:
    """Return how much the body moves, 0 to 1, shape (n,)."""
    speed = np.abs(np.gradient(np.stack([done.squat, done.turn_rad, done.arms_rad]), axis=1)).max(axis=0)
    return smooth(np.clip(speed * GRID_HZ, 0, 1), 0.2)


def moved(drawn: Draw, body: BodyDraw, done: Courses, rng: np.random.Generator) -> dict[str, Segment]:
    """Return the motion of all places, skates first, facing anywhere."""
    figure, style, samples = body.figure, body.style, len(done.squat)
    deepest, lean, toes_out = np.radians([rng.uniform(75, 95), rng.uniform(35, 50), rng.uniform(3, 12)])
    posture = _posture(done, lean)
    pelvis_m = _pelvis(figure.leg_m("left"), deepest * done.squat, np.radians(SOFT_DEG) * done.soft)
    hips = hips_from_pelvis(figure, yaw_pitch_roll(posture.pelvis_rad))
    ankles, knees, skates = {}, {}, {}
    for side in SIDES:
        ankle_m = (
            pelvis_m[0] + hips[side][0] - _straight_leg(figure.leg_m(side), style.straight_error_deg, rng)
        )
        out = OUTWARD_Y[side] * toes_out
        skates[f"{side}_skate"] = _skate(drawn, side, ankle_m, float(out + np.radians(rng.normal())), samples)
        ankles[side] = np.broadcast_to(ankle_m, (samples, 3))
        knees[side] = np.broadcast_to((np.cos(out), np.sin(out), 0.0), (samples, 3))
    segments, _ = assemble(figure, pelvis_m, posture, ankles, knees)
    for place in ("left_shank", "left_thigh", "right_shank", "right_thigh"):
        twist = np.radians(style.squat_turn_deg * rng.normal()) * done.squat
        segments[place] = replace(segments[place], rotation=segments[place].rotation @ turn(2, twist))
    facing = turn(2, rng.uniform(-np.pi, np.pi))
    phase = 2 * np.pi * (SWAY_HZ * np.arange(samples) / GRID_HZ + rng.uniform(0, 1, (2, 1)))
    sway = np.radians(SWAY_DEG) * np.sin(phase)
    swaying = facing @ turn(1, sway[0]) @ turn(0, 0.5 * sway[1])
    return {place: _turned(segment, facing) for place, segment in skates.items()} | {
        place: _turned(segment, swaying) for place, segment in segments.items()
    }


def _turned(segment: Segment, turns: Floats) -> Segment:
    return Segment(turns @ segment.rotation, apply(turns, segment.place_m))


def _posture(done: Courses, lean_rad: float) -> Posture:
    """Turns of the upper body, facing along x."""
    nothing = np.zeros_like(done.squat)
    leaning = lean_rad * done.squat
    arm = Arm(done.arms_rad + 0.5 * done.squat, done.arms_rad + 0.4 * done.squat, 0.0)
    return Posture(
        heading_rad=nothing,
        pelvis_rad=np.column_stack([0.35 * done.turn_rad, 0.6 * leaning, nothing]),
        trunk_rad=np.column_stack([done.turn_rad, leaning, nothing]),
        neck_rad=0.6 * leaning,
        head_rad=np.column_stack([0.5 * done.turn_rad, 0.3 * leaning, nothing]),
        arms=dict.fromkeys(SIDES, arm),
    )


def _pelvis(lengths_m: tuple[float, float], squat_rad: Floats, soft_rad: Floats) -> Floats:
    """Return the middle of the hips over the ankles at knee bends [m], shape (n, 3): hips go back in the squat."""
    span = sum(lengths_m) * span_ratio(squat_rad + soft_rad, lengths_m)
    back = HIPS_BACK * squat_rad**2
    return np.column_stack([-span * np.sin(back), np.zeros_like(span), span * np.cos(back) + ANKLE_M[2]])


def _straight_leg(lengths_m: tuple[float, float], error_deg: float, rng: np.random.Generator) -> Floats:
    """Return the way from ankle to hip of a leg that is nearly straight and nearly upright [m], shape (3,).

    Lean and bend together make the spread of shank and thigh from the vertical.
    """
    lean, tilt, bend = np.radians(error_deg * rng.normal(size=3))
    up = yaw_pitch_roll(np.array([[0.0, 0.87 * lean, tilt]]))[0, :, 2]
    return np.asarray(up * sum(lengths_m) * float(span_ratio(abs(bend), lengths_m)))


def _skate(drawn: Draw, side: str, ankle_m: Floats, yaw_rad: float, samples: int) -> Segment:
    """One skate flat on the ground under its ankle."""
    skater = drawn.skater
    roll = OUTWARD_Y[side] * skater.stance_roll_deg
    angles = np.array([[yaw_rad, np.radians(skater.stance_pitch_deg), np.radians(roll)]])
    rotation = yaw_pitch_roll(angles)
    place_m = ankle_m - rotation[0] @ ANKLE_M
    return Segment(np.broadcast_to(rotation, (samples, 3, 3)), np.broadcast_to(place_m, (samples, 3)))
