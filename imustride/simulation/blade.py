"""Path of a skate's blade: sliding along itself while on the ice, through the air between.

The running edge is an ellipse in the blade's plane (half length a, half height b): its lowest point
and height have closed forms for any attitude, its bottom has the rocker's radius a^2 / b, and its
end is where the toe touches. The middle of the running edge is the origin of the segment frame.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from imustride.simulation.steps import OUTWARD, Step
from imustride.simulation.transitions import GRID_HZ, PLAIN, Course, bump, sample, slope

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.simulation.attitude import Attitude
    from imustride.simulation.body import Body
    from imustride.simulation.drawing import Draw
    from imustride.simulation.timing import Plan

    Floats = NDArray[np.float64]

CARRIED_S = 0.035
QUICK_LIFT_RATIO = 0.6  # of the swing
JOLT_S = 0.02  # time in which a landing foot takes on the blade's own direction and speed


@dataclass(frozen=True, eq=False, slots=True)
class Path:
    """Path of one blade on the grid.

    `place_m` (n, 3) is the middle of the running edge, earth; `clearance_m` (n,) the height of the
    lowest point; `along_m_s`, `across_m_s` (n,) the speed of the touching point in the running
    direction and to its left (0 in the air); `on_ice` (n,).
    """

    place_m: Floats
    clearance_m: Floats
    along_m_s: Floats
    across_m_s: Floats
    on_ice: NDArray[np.bool_]


def rotate(attitude: Attitude, vector: Floats) -> Floats:
    """Turn segment vectors (n, 3) or (3,) into the earth frame, shape (n, 3)."""
    x, y, z = vector.T
    cos, sin = np.cos(attitude.roll), np.sin(attitude.roll)
    y, z = cos * y - sin * z, sin * y + cos * z
    cos, sin = np.cos(attitude.pitch), np.sin(attitude.pitch)
    x, z = cos * x + sin * z, -sin * x + cos * z
    cos, sin = np.cos(attitude.yaw), np.sin(attitude.yaw)
    return np.column_stack([cos * x - sin * y, sin * x + cos * y, z])


def rotate_back(attitude: Attitude, vector: Floats) -> Floats:
    """Turn earth vectors (n, 3) or (3,) into the segment frame, shape (n, 3)."""
    x, y, z = vector.T
    cos, sin = np.cos(attitude.yaw), np.sin(attitude.yaw)
    x, y = cos * x + sin * y, -sin * x + cos * y
    cos, sin = np.cos(attitude.pitch), np.sin(attitude.pitch)
    x, z = cos * x - sin * z, sin * x + cos * z
    cos, sin = np.cos(attitude.roll), np.sin(attitude.roll)
    return np.column_stack([x, cos * y + sin * z, -sin * y + cos * z])


def body_rate(attitude: Attitude) -> Floats:
    """Angular velocity in segment axes [rad/s], shape (n, 3), from the rates of the three angles."""
    yaw, pitch, roll = slope(attitude.yaw), slope(attitude.pitch), slope(attitude.roll)
    cos_p, sin_p = np.cos(attitude.pitch), np.sin(attitude.pitch)
    cos_r, sin_r = np.cos(attitude.roll), np.sin(attitude.roll)
    return np.column_stack(
        [roll - yaw * sin_p, pitch * cos_r + yaw * sin_r * cos_p, -pitch * sin_r + yaw * cos_p * cos_r]
    )


def lowest_point(draw: Draw, attitude: Attitude) -> tuple[Floats, Floats]:
    """Return the touching point in segment axes (n, 3) and the height of the middle above it (n,)."""
    a = draw.skater.blade_length_m / 2
    b = a**2 / draw.skater.rocker_radius_m
    down_x = np.sin(attitude.pitch)
    down_z = -np.cos(attitude.pitch) * np.cos(attitude.roll)
    size = np.sqrt((a * down_x) ** 2 + (b * down_z) ** 2)
    x, z = a**2 * down_x / size, b + b**2 * down_z / size
    return np.column_stack([x, np.zeros_like(x), z]), size + b * down_z


def running_angle(attitude: Attitude) -> Floats:
    """Angle of y_segment x z_earth from the earth's x axis [rad], shape (n,)."""
    coupling = np.arctan2(np.sin(attitude.pitch) * np.sin(attitude.roll), np.cos(attitude.roll))
    return np.asarray(attitude.yaw - coupling)


def path(draw: Draw, plan: Plan, body: Body, attitude: Attitude, steps: tuple[Step, ...]) -> Path:
    """Follow one blade through all its contacts and swings."""
    point, height = lowest_point(draw, attitude)
    samples = len(height)
    place, clearance = np.zeros((samples, 2)), np.zeros(samples)
    velocity = np.zeros((samples, 2))
    along, across = np.zeros(samples), np.zeros(samples)
    on_ice = np.zeros(samples, bool)
    turning = _turning(draw, attitude, point)
    angle = running_angle(attitude)
    direction = np.column_stack([np.cos(angle), np.sin(angle)])
    aside = np.column_stack([-direction[:, 1], direction[:, 0]])
    for step in steps:
        last = samples - 1 if step is steps[-1] else sample(step.contact.off_s)
        span = slice(sample(step.contact.on_s), last + 1)
        on_ice[span] = True
        along[span], across[span] = _sliding(draw, plan, body, angle[span], step, span)
        slid = along[span, None] * direction[span] + across[span, None] * aside[span]
        velocity[span] = slid - turning[span]
        moved = (velocity[span][1:] + velocity[span][:-1]) / 2 / GRID_HZ
        place[span] = step.place_m + np.vstack([np.zeros((1, 2)), np.cumsum(moved, axis=0)])
        if span.start > 0:
            _give(clearance, step, span)
    for step, following in pairwise(steps):
        _swing(place, velocity, clearance, step, following)
    level = _carried(height + clearance, steps)
    return Path(np.column_stack([place, level]), level - height, along, across, on_ice)


def _turning(draw: Draw, attitude: Attitude, point: Floats) -> Floats:
    """Horizontal velocity of the touching point relative to the middle, from the skate's rotation."""
    if draw.conditions.slip_point == "middle":
        return np.zeros((len(point), 2))
    return rotate(attitude, np.cross(body_rate(attitude), point))[:, :2]


def _sliding(
    draw: Draw, plan: Plan, body: Body, angle: Floats, step: Step, span: slice
) -> tuple[Floats, Floats]:
    """Speed of the touching point along and across the blade in one contact."""
    contact = step.contact
    time_s = np.arange(span.start, span.stop) / GRID_HZ
    if contact.kind == "glide":
        along, across = _coasting(plan, body, angle, span, draw.conditions.plough_deg)
    elif contact.kind == "push":
        u = (time_s - contact.on_s) / (contact.off_s - contact.on_s)
        along = step.glide_m_s * (1 + step.glide_slope * (2 * u - 1))
        if contact.order == plan.stumble_order:
            along *= 1 - 0.7 * draw.conditions.stumble_ratio * bump(u * 1.2 - 0.1)
        skid = step.skid_m_s * bump(u, 4.0, 3.0)
        late = bump((u - 0.35) / 0.65)
        skid += step.chatter_m_s * late * np.sin(2 * np.pi * draw.conditions.chatter_hz * time_s)
        across = OUTWARD[contact.side] * skid
    else:
        return np.zeros(len(time_s)), np.zeros(len(time_s))
    left = 1 - PLAIN.course((time_s - contact.on_s) / JOLT_S)
    return along + step.jolt_m_s[0] * left, across + step.jolt_m_s[1] * left


def _coasting(plan: Plan, body: Body, angle: Floats, span: slice, plough_deg: float) -> tuple[Floats, Floats]:
    """Both feet carried by the body: along the blades in the glide, across them in plough and stop."""
    forced = Course(len(body.speed_m_s), 1.0 if plough_deg > 0 else 0.0)
    forced.move_to(plan.stop_s[0] - 0.15, plan.stop_s[0] + 0.05, 1.0)
    share = forced.values()[span]
    off_course = angle - body.heading_rad[span]
    speed = body.speed_m_s[span]
    return speed * (1 - share + share * np.cos(off_course)), -speed * share * np.sin(off_course)


def _give(clearance: Floats, step: Step, span: slice) -> None:
    """Way of the landing blade from first touch to rest: its vertical speed ends in the landing time."""
    u = np.arange(span.stop - span.start) / GRID_HZ / step.landing_s
    u = u[u < 1]
    way = 0.5 - u + 2.5 * u**4 - 3 * u**5 + u**6
    clearance[span.start : span.start + len(u)] = step.landing_m_s * step.landing_s * way


def _swing(place: Floats, velocity: Floats, clearance: Floats, step: Step, following: Step) -> None:
    """Carry the foot from blade-off to the next blade-on: quintic path, hump of height (in place)."""
    first, last = sample(step.contact.off_s), sample(following.contact.on_s)
    duration = (last - first) / GRID_HZ
    u = np.arange(1, last - first) / (last - first)
    ends = [
        (place[i], velocity[i] * duration, (velocity[i + k] - velocity[i]) * k * GRID_HZ * duration**2)
        for i, k in ((first, -1), (last, 1))
    ]
    place[first + 1 : last] = _quintic(u, *ends[0], *ends[1])
    forward = following.place_m - step.place_m
    size = np.hypot(*forward)
    if size > 0:
        aside = np.array([-forward[1], forward[0]]) / size
        place[first + 1 : last] += step.bend_m * bump(u)[:, None] * aside
    drop = following.landing_m_s * following.landing_s / 2
    touch = drop * PLAIN.course(u) + following.landing_m_s * duration * u**3 * (1 - u) * (4 - 3 * u)
    quick = step.lift_quick_ratio
    lift = (1 - quick) * bump(u, *step.lift_powers) + quick * bump(u / QUICK_LIFT_RATIO)
    clearance[first + 1 : last] = step.lift_m * lift + touch


def _carried(level: Floats, steps: tuple[Step, ...]) -> Floats:
    """Smooth the height of the middle where the foot is well off the ice.

    A foot that turns from toe-down to toe-up in the air changes its lowest point from toe to heel
    at once; the leg that carries it does not jump up for that.
    """
    from scipy.ndimage import uniform_filter1d

    size = sample(CARRIED_S) | 1
    smoothed = uniform_filter1d(uniform_filter1d(level, size), size)
    carried = level.copy()
    for step, following in pairwise(steps):
        span = slice(sample(step.contact.off_s), sample(following.contact.on_s))
        u = np.linspace(0, 1, span.stop - span.start)
        share = PLAIN.course((u - 0.08) / 0.2) * PLAIN.course((0.92 - u) / 0.2)
        carried[span] += share * (smoothed[span] - level[span])
    return carried


def _quintic(u: Floats, p0: Floats, v0: Floats, a0: Floats, p1: Floats, v1: Floats, a1: Floats) -> Floats:
    """Quintic Hermite path (n, 2) with given places, velocities and accelerations (per unit time)."""
    w = u[:, None]
    first = p1 - p0 - v0 - a0 / 2
    second, third = v1 - v0 - a0, a1 - a0
    c3 = 10 * first - 4 * second + third / 2
    c4 = -15 * first + 7 * second - third
    c5 = 6 * first - 3 * second + third / 2
    return np.asarray(p0 + w * (v0 + w * (a0 / 2 + w * (c3 + w * (c4 + w * c5)))))
