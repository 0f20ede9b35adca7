"""The motion of the body above the skates in one run: it follows from the skates and the posture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.errors import SettingsError
from imustride.simulation.blade import rotate
from imustride.simulation.pelvis import pelvis_path
from imustride.simulation.posture import posture, shares, smooth
from imustride.simulation.rotations import yaw_pitch_roll
from imustride.simulation.timing import SIDES
from imustride.simulation.transitions import GRID_HZ
from imustride.simulation.upper_body import Segment, assemble, hips_from_pelvis

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.simulation.attitude import Attitude
    from imustride.simulation.body_draw import BodyDraw, Style
    from imustride.simulation.drawing import Draw
    from imustride.simulation.limbs import Leg
    from imustride.simulation.motion import Motion

    Floats = NDArray[np.float64]

ANKLE_M = (-0.03, 0.0, 0.13)  # from the middle of the running edge (common practice, no source)
GIVE_S = (
    0.03  # boot and foot take up what is faster: the joint moves smoothly, some millimetres off the skate
)
KNEE_TURN_S = 0.1
SWAY_M = 0.004
STREAM = 131


@dataclass(frozen=True, eq=False, slots=True)
class WholeBody:
    """Motion of the body on the grid, earth frame.

    `segments` by place without the skates, `legs` by side; `blows_m_s2` (n, 3) by side is the acceleration
    of the skate's ankle that boot and foot take up.
    """

    segments: dict[str, Segment]
    legs: dict[str, Leg]
    blows_m_s2: dict[str, Floats]
    running: Floats


def body_motion(draw: Draw, body: BodyDraw, motion: Motion) -> WholeBody:
    """Work out the motion of the body in a run.

    Raises
    ------
    SettingsError
        If the legs are too short for where the skates are.
    """
    held = posture(draw, body.style, motion)
    in_boot = {side: ankle_in_boot(motion, side) for side in SIDES}
    ankles = {side: smooth(in_boot[side], GIVE_S) for side in SIDES}
    hips = hips_from_pelvis(body.figure, yaw_pitch_roll(held.pelvis_rad))
    pelvis_m = pelvis_path(body.figure, body.style, motion, ankles, hips)
    running = shares(motion.plan, len(pelvis_m)).running
    pelvis_m = pelvis_m + _sway(draw, running)
    knees = {side: _knee_forward(motion.feet[side].attitude, held.heading_rad, body.style) for side in SIDES}
    segments, legs = assemble(body.figure, pelvis_m, held, ankles, knees)
    for side in SIDES:
        _check_reach(legs[side], sum(body.figure.leg_m(side)), side)
    blows = {side: _acceleration(in_boot[side] - ankles[side]) for side in SIDES}
    return WholeBody(segments, legs, blows, running)


def ankle_in_boot(motion: Motion, side: str) -> Floats:
    """Return where the boot holds the ankle joint [m], shape (n, 3)."""
    foot = motion.feet[side]
    return foot.path.place_m + rotate(foot.attitude, np.broadcast_to(ANKLE_M, foot.path.place_m.shape))


def _check_reach(leg: Leg, length_m: float, side: str) -> None:
    span_m = float(np.linalg.norm(leg.hip_m - leg.ankle_m, axis=1).max())
    if span_m >= length_m:
        message = (
            f"simulation: the {side} leg is {length_m:.3f} m long, the run asks for {span_m:.3f} m; "
            "choose a larger height_m or a smaller reach_m"
        )
        raise SettingsError(message)


def _knee_forward(attitude: Attitude, heading_rad: Floats, style: Style) -> Floats:
    """Where the knee points: over the ground, between straight ahead and the skate."""
    yaw = heading_rad + style.knee_out_ratio * smooth(attitude.yaw - heading_rad, KNEE_TURN_S)
    return np.column_stack([np.cos(yaw), np.sin(yaw), np.zeros_like(yaw)])


def _sway(draw: Draw, running: Floats) -> Floats:
    """Return the pelvis's small movements in the quiet stance [m], shape (n, 3)."""
    rng = np.random.default_rng([draw.seed, STREAM, draw.run])
    time_s = np.arange(len(running)) / GRID_HZ
    rate_hz = draw.conditions.sway_hz * rng.uniform(0.7, 1.3, (3, 1))
    wave = np.sin(2 * np.pi * (rate_hz * time_s + rng.uniform(0, 1, (3, 1))))
    size = SWAY_M * draw.conditions.sway_deg * np.array([1.0, 1.0, 0.3])
    return np.asarray((size[:, None] * (1 - running) * wave).T)


def _acceleration(place_m: Floats) -> Floats:
    """Return second differences on the grid [m/s^2], 0 at both ends."""
    acceleration = np.zeros_like(place_m)
    acceleration[1:-1] = (place_m[2:] - 2 * place_m[1:-1] + place_m[:-2]) * GRID_HZ**2
    return acceleration
