"""Rigid motion of one skate: the edge touches at height zero and runs along y_segment x z_earth."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import uniform_filter1d

from tests.generators.shapes import GRID_HZ, Course, derivative, integral, step

if TYPE_CHECKING:
    from tests.generators.attitude import Courses, Skater
    from tests.generators.blade import Blade
    from tests.generators.body import Body
    from tests.generators.plan import Plan, Stance
    from tests.generators.shapes import Array

CLEARANCE_M = 0.006


@dataclass(frozen=True, eq=False)
class Motion:
    """One skate on the fine grid (GRID_HZ, from time 0 of the true clock).

    Parameters
    ----------
    earth_from_segment : ndarray, shape (n, 3, 3)
    rate_rad_s : ndarray, shape (n, 3)
        Angular velocity in segment axes [rad/s].
    place_m, velocity_m_s, acceleration_m_s2 : ndarray, shape (n, 3)
        Middle of the running edge, earth frame.
    edge_point_m : ndarray, shape (n, 2)
        Lowest point of the edge, forward and up from the middle, segment frame [m].
    running_rad : ndarray, shape (n,)
        Azimuth of the running direction [rad].
    slip_m_s : ndarray, shape (n,)
        Speed of the touching point across the running direction, to the left [m/s].
    lift_m : ndarray, shape (n,)
        Height of the lowest point of the edge [m].
    """

    earth_from_segment: Array
    rate_rad_s: Array
    place_m: Array
    velocity_m_s: Array
    acceleration_m_s2: Array
    edge_point_m: Array
    running_rad: Array
    slip_m_s: Array
    along_m_s: Array
    lift_m: Array


def attitude(yaw: Array, pitch: Array, roll: Array) -> tuple[Array, Array]:
    """Return earth_from_segment (n, 3, 3) of yaw, pitch, roll (z, y', x'') and its body rate (n, 3)."""
    cy, sy, cp, sp, cr, sr = (
        np.cos(yaw),
        np.sin(yaw),
        np.cos(pitch),
        np.sin(pitch),
        np.cos(roll),
        np.sin(roll),
    )
    turn = np.empty((len(yaw), 3, 3))
    turn[:, 0, 0], turn[:, 0, 1], turn[:, 0, 2] = cy * cp, cy * sp * sr - sy * cr, cy * sp * cr + sy * sr
    turn[:, 1, 0], turn[:, 1, 1], turn[:, 1, 2] = sy * cp, sy * sp * sr + cy * cr, sy * sp * cr - cy * sr
    turn[:, 2, 0], turn[:, 2, 1], turn[:, 2, 2] = -sp, cp * sr, cp * cr
    dy, dp, dr = derivative(yaw), derivative(pitch), derivative(roll)
    rate = np.column_stack([dr - dy * sp, dp * cr + dy * cp * sr, -dp * sr + dy * cp * cr])
    return turn, rate


def times(turn: Array, vector: Array) -> Array:
    """Matrix times vector at every sample."""
    product: Array = np.matmul(turn, vector[:, :, None])[:, :, 0]
    return product


def move_skate(skater: Skater, blade: Blade) -> tuple[Motion, Courses]:
    """Attitude from the courses, path from the running direction, swings closed to the wanted landings."""
    c, plan, body = skater.courses(), skater.plan, skater.body
    coupling = np.arctan2(-np.sin(c.pitch_rad) * np.sin(c.roll_rad), np.cos(c.roll_rad))
    yaw = c.track_rad - skater.number("yaw_follow") * coupling
    running = yaw + coupling
    turn, rate = attitude(yaw, c.pitch_rad, c.roll_rad)
    x, z = blade.lowest(c.pitch_rad, c.roll_rad)
    along, slip = _slide(c, plan, body, running)
    lever = np.column_stack([rate[:, 1] * z, rate[:, 2] * x - rate[:, 0] * z, -rate[:, 1] * x])
    airborne = _airborne(plan.of_side(skater.side), len(yaw))
    swept = times(turn, lever) * (1.0 - airborne[:, None])
    height = np.sin(c.pitch_rad) * x - np.cos(c.pitch_rad) * np.cos(c.roll_rad) * z
    lift = _clear(plan.of_side(skater.side), c.lift_m + airborne * (_calm(height) - height))
    velocity = np.empty_like(swept)
    carried = airborne * body.speed_m_s
    guided, aside = (1.0 - airborne) * along, (1.0 - airborne) * slip
    velocity[:, 0] = guided * np.cos(running) - aside * np.sin(running) - swept[:, 0]
    velocity[:, 1] = guided * np.sin(running) + aside * np.cos(running) - swept[:, 1]
    velocity[:, 0] += carried * np.cos(body.heading_rad)
    velocity[:, 1] += carried * np.sin(body.heading_rad)
    velocity[:, 2] = derivative(lift + height)
    start = np.array([0.0, skater.sign * skater.number("stance_half_width_m")])
    _close_swings(skater, plan.of_side(skater.side), velocity, start)
    place = np.empty_like(velocity)
    place[:, :2] = start + integral(velocity[:, :2])
    place[:, 2] = lift + height
    edge_point = np.column_stack([x, z])
    motion = Motion(turn, rate, place, velocity, derivative(velocity), edge_point, running, slip, along, lift)
    return motion, c


def _airborne(own: list[Stance], samples: int) -> Array:
    """Return 1 in the middle of each swing, where the ice does not guide the foot, 0 in contact; smooth."""
    free = Course(samples)
    for before, after in itertools.pairwise(own):
        length = after.on_s - before.off_s
        free.add_step(before.off_s, before.off_s + 0.4 * length, 1.0)
        free.add_step(after.on_s - 0.35 * length, after.on_s, -1.0)
    return free.value


def _calm(height: Array) -> Array:
    """Height course without the corners that the ice would give it while the foot turns over the flat [m]."""
    width = int(0.045 * GRID_HZ) | 1
    for _ in range(3):
        height = uniform_filter1d(height, width, mode="nearest")
    return height + 0.004


def _clear(own: list[Stance], lift: Array) -> Array:
    """Raise each swing whose middle comes nearer to the ice than CLEARANCE_M."""
    more = Course(len(lift))
    for before, after in itertools.pairwise(own):
        length = after.on_s - before.off_s
        i, j = (int((before.off_s + share * length) * GRID_HZ) for share in (0.2, 0.8))
        short = CLEARANCE_M - float(lift[i:j].min())
        if short > 0.0:
            more.add_step(before.off_s, before.off_s + 0.3 * length, short)
            more.add_step(after.on_s - 0.3 * length, after.on_s, -short)
    return lift + more.value


def _slide(c: Courses, plan: Plan, body: Body, running: Array) -> tuple[Array, Array]:
    """Speed of the touching point along and across the running direction [m/s].

    In pushes the blade keeps up with the body along its path; from the end of pushing the body
    carries the feet along, so that a blade that points elsewhere is dragged across (snow-plough).
    """
    t = np.arange(len(running)) / GRID_HZ
    last_on = max(s.on_s for s in plan.stances)
    dragged = step((t - last_on - 0.05) / 0.3)
    off_line = np.clip(running - body.heading_rad, -1.3, 1.3)
    forward = body.speed_m_s * (1.0 - c.hold)
    along = forward * ((1.0 - dragged) / np.cos(off_line) + dragged * np.cos(off_line))
    return along, c.skid_m_s - forward * dragged * np.sin(off_line)


def _close_swings(skater: Skater, own: list[Stance], velocity: Array, start: Array) -> None:
    """Add to each swing's velocity what brings the foot to its landing place beside the body."""
    path = start + integral(velocity[:, :2])
    added = np.zeros(2)
    rng, body = skater.rng, skater.body
    for before, after in itertools.pairwise(own):
        i, j = int(before.off_s * GRID_HZ) + 1, int(after.on_s * GRID_HZ)
        h = body.heading_rad[j]
        ahead = (
            skater.number("reach_ahead_m") * (0.3 if not np.isfinite(after.off_s) else 1.0) * skater.vary(0.2)
        )
        weave = skater.number("weave_m") * rng.uniform(-1.0, 0.3)
        side = skater.sign * (skater.number("hip_half_width_m") + weave + 0.02 * rng.normal())
        wanted = body.place_m[j] + np.array(
            [np.cos(h) * ahead - np.sin(h) * side, np.sin(h) * ahead + np.cos(h) * side]
        )
        u = (np.arange(i, j) / GRID_HZ - before.off_s) / (after.on_s - before.off_s)
        missing = wanted - path[j] - added
        for axis in range(2):
            skew = rng.uniform(-0.3, 0.3)
            x = u + skew * u * (1.0 - u)
            pulse = (x * (1.0 - x)) ** rng.uniform(2.0, 2.8)
            velocity[i:j, axis] += missing[axis] * pulse / (pulse.sum() / GRID_HZ)
        added += missing
