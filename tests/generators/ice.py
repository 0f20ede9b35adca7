"""What the ice and the holder add to the rigid motion: vibration, ringing, flex, resonance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import bilinear, lfilter, lfilter_zi

from tests.generators.shapes import GRID_HZ, Course, derivative

if TYPE_CHECKING:
    from tests.generators.attitude import Courses, Skater
    from tests.generators.motion import Motion
    from tests.generators.plan import Stance
    from tests.generators.shapes import Array

GRAVITY_M_S2 = 9.81


@dataclass(frozen=True, eq=False)
class Felt:
    """What an ideal sensor on the skate feels, segment axes, fine grid."""

    force_m_s2: Array
    rate_rad_s: Array
    load: Array


def draw_load(skater: Skater) -> Array:
    """Load on the blade between 0 and about 1.3: rises at the landing, falls before blade-off."""
    load = Course(len(skater.body.speed_m_s))
    for c in skater.plan.of_side(skater.side):
        on = c.on_s if np.isfinite(c.on_s) else 0.0
        off = c.off_s if np.isfinite(c.off_s) else skater.plan.end_s
        rise = min(skater.number("load_rise_s") * skater.vary(0.3), 0.5 * (off - on))
        fall = min(skater.number("load_fall_s") * skater.vary(0.3), 0.5 * (off - on))
        load.add_step(on, on + rise, 1.0, "sine")
        load.add_step(off - fall, off, -1.0, "sine")
        if np.isfinite(c.on_s) and np.isfinite(c.off_s):
            load.add_bump(on + 0.3 * (off - on), off, skater.rng.uniform(-0.2, 0.4), 2.0)
    return np.clip(load.value, 0.0, None)


def resonator(centre_hz: float, memory_s: float) -> tuple[Array, Array]:
    """Second-order autoregressive filter of unit output variance for white input."""
    radius = np.exp(-1.0 / (GRID_HZ * memory_s))
    a1 = -2.0 * radius * np.cos(2.0 * np.pi * centre_hz / GRID_HZ)
    a2 = radius**2
    variance = (1.0 + a2) / ((1.0 - a2) * ((1.0 + a2) ** 2 - a1**2))
    return np.array([1.0 / np.sqrt(variance)]), np.array([1.0, a1, a2])


def _drive(skater: Skater, samples: int, speed: float) -> Array:
    """Unit-power random drive of three axes: noise and a train of impulses whose rate follows speed."""
    rng, share = skater.rng, skater.number("vibration_train_share")
    noise = rng.standard_normal((samples, 3))
    chance = min(skater.number("vibration_train_1_m") * max(speed, 0.3) / GRID_HZ, 0.5)
    hits = rng.random(samples) < chance
    size = rng.standard_t(5, (samples, 3)) / np.sqrt(5.0 / 3.0 * chance)
    drive: Array = np.sqrt(1.0 - share) * noise + np.sqrt(share) * np.where(hits[:, None], size, 0.0)
    return drive


def ice_vibration(skater: Skater, motion: Motion, load: Array) -> Array:
    """Vibration of the blade on the ice [m/s^2], shape (n, 3), contact by contact."""
    total = np.zeros((len(load), 3))
    speed = np.hypot(motion.along_m_s, motion.slip_m_s)
    size = skater.number("vibration_m_s2") * skater.larger("vibration") / np.sqrt(3.0)
    level = size * (speed / 8.0) ** skater.number("vibration_speed_power")
    level *= load ** skater.number("vibration_load_power")
    axes = np.array([skater.number("vibration_forward"), skater.number("vibration_sideways"), 1.0])
    axes *= np.sqrt(3.0 / np.sum(axes**2))
    follow = skater.number("vibration_corner_follow")
    high, low = skater.number("vibration_high_share"), skater.number("vibration_low_share")
    shares = ((1.0 - high) * (1.0 - low), high * (1.0 - low), low)
    memory = skater.number("vibration_memory_s")
    for c in skater.plan.of_side(skater.side):
        span = _samples(skater, c, 0.05)
        mean = float(np.mean(speed[span]))
        corner = float(skater.number("vibration_centre_hz") * (1.0 + follow * (mean / 8.0 - 1.0)))
        drive = _drive(skater, span.stop - span.start, mean) * level[span, None]
        bands = (max(corner, 15.0), memory), (min(3.2 * corner, 900.0), 0.4 * memory), (30.0, 0.006)
        for (centre, lasting), share in zip(bands, shares, strict=True):
            total[span] += np.sqrt(share) * lfilter(*resonator(centre, lasting), drive, axis=0) * axes
    return total


def _samples(skater: Skater, c: Stance, after_s: float) -> slice:
    on = c.on_s if np.isfinite(c.on_s) else skater.plan.start_s
    off = c.off_s if np.isfinite(c.off_s) else skater.plan.brake_s[1] + 0.2
    return slice(int(on * GRID_HZ), min(int((off + after_s) * GRID_HZ), len(skater.body.speed_m_s)))


def ringing(skater: Skater, courses: Courses) -> Array:
    """Damped rings of landings, shocks, blade-offs and the stumble, and the rattle of the swing [m/s^2]."""
    total = skater.rng.standard_normal((len(courses.lift_m), 3))
    total *= np.where(courses.lift_m > 0.0005, skater.number("swing_rattle_m_s2"), 0.0)[:, None]
    total = lfilter(*resonator(60.0, 0.003), total, axis=0)
    per_speed = skater.number("landing_ring_1_s")
    hz, memory = skater.number("landing_ring_hz"), skater.number("landing_ring_s")
    for c in skater.plan.of_side(skater.side):
        if c.order in courses.landing_m_s:
            _ring(skater, total, c.on_s, per_speed * courses.landing_m_s[c.order], hz, memory)
        if np.isfinite(c.off_s):
            memory_off = skater.number("ring_down_s")
            _ring(
                skater,
                total,
                c.off_s,
                skater.number("ring_down_m_s2") * skater.vary(0.3),
                0.7 * hz,
                memory_off,
            )
        if c.order == skater.plan.stumble:
            _ring(skater, total, 0.5 * (c.on_s + c.off_s), 2.0 * per_speed, hz, 0.01)
    for at in skater.plan.shocks_s:
        _ring(skater, total, at, skater.number("shock_ring_m_s2") * skater.vary(0.2), hz, memory)
    return total


def _ring(skater: Skater, total: Array, at_s: float, size: float, hz: float, memory_s: float) -> None:
    """Add a damped sine that starts at a time [s], in a random direction, mostly up."""
    i = int(np.ceil(at_s * GRID_HZ))
    tau = np.arange(i, min(i + int(8.0 * memory_s * GRID_HZ), len(total))) / GRID_HZ - at_s
    course = size * np.exp(-tau / memory_s) * np.sin(2.0 * np.pi * hz * skater.vary(0.05) * tau)
    direction = skater.rng.normal(size=3) * [0.5, 0.7, 1.0]
    total[i : i + len(tau)] += course[:, None] * direction / max(float(np.linalg.norm(direction)), 0.3)


def chatter(skater: Skater, motion: Motion, load: Array) -> Array:
    """Stick and slip across the blade while it skids [m/s^2], shape (n,)."""
    noise = skater.rng.standard_normal(len(load))
    narrow = lfilter(*resonator(skater.number("chatter_hz"), 0.06), noise)
    skidding = np.abs(motion.slip_m_s) / max(skater.number("skid_m_s"), 0.02)
    course: Array = (
        skater.number("chatter_m_s2") * narrow * np.clip(skidding, 0.0, 1.0) * np.clip(load, 0.0, 1.0)
    )
    return course


def feel(skater: Skater, motion: Motion, courses: Courses, lever_m: Array) -> Felt:
    """Specific force and rate at the sensor: rigid motion with flex, then vibration, then resonance."""
    load = draw_load(skater)
    axis = np.array([1.0, skater.rng.normal() * 0.3, skater.rng.normal() * 0.3])
    axis /= np.linalg.norm(axis)
    moving = Course(len(load))
    moving.add_step(skater.plan.start_s, skater.plan.start_s + 0.5, 1.0)
    flexing = lfilter([0.02], [1.0, -0.98], lfilter([0.02], [1.0, -0.98], load * moving.value))
    flex = -skater.sign * np.radians(skater.number("flex_deg")) * flexing
    force, rate = rigid_feel(motion, lever_m, axis, flex)
    shaken = ice_vibration(skater, motion, load)
    shaken[:, 1] += chatter(skater, motion, load)
    shaken += ringing(skater, courses)
    force += shaken
    hinge = 2.0 * np.pi * skater.number("vibration_centre_hz") * 0.1
    rate += skater.number("vibration_gyro") / hinge * np.roll(shaken, 1, axis=1) * [1.0, 0.5, 0.4]
    return Felt(_resonate(skater, force), rate, load)


def rigid_feel(motion: Motion, lever_m: Array, axis: Array, flex_rad: Array) -> tuple[Array, Array]:
    """Specific force [m/s^2] and rate [rad/s] of a sensor turned by `flex_rad` about `axis` (unit, segment).

    Both in the turned sensor's axes; the lever turns with the sensor.
    """
    rate = turn_back(motion.rate_rad_s, axis, flex_rad) + axis * derivative(flex_rad)[:, None]
    pull = motion.acceleration_m_s2 + np.array([0.0, 0.0, GRAVITY_M_S2])
    force = np.matmul(pull[:, None, :], motion.earth_from_segment)[:, 0, :]
    force = turn_back(force, axis, flex_rad)
    gained = derivative(rate)
    force += np.cross(gained, lever_m) + np.cross(rate, np.cross(rate, lever_m))
    return force, rate


def turn_back(vector: Array, axis: Array, angle: Array) -> Array:
    """Components of vectors in axes turned by `angle` about a fixed unit axis (Rodrigues)."""
    c, s = np.cos(angle)[:, None], np.sin(angle)[:, None]
    turned: Array = vector * c - np.cross(axis, vector) * s + np.outer(vector @ axis, axis) * (1.0 - c)
    return turned


def _resonate(skater: Skater, force: Array) -> Array:
    """Give the bracket a lightly damped resonance across and along the blade (gain one at rest)."""
    hz = skater.number("resonance_hz")
    if hz <= 0.0:
        return force
    w, z = 2.0 * np.pi * hz, skater.number("resonance_damping")
    b, a = bilinear([2.0 * z * w, w * w], [1.0, 2.0 * z * w, w * w], GRID_HZ)
    out = force.copy()
    for k in (1, 0):
        out[:, k] = lfilter(b, a, force[:, k], zi=lfilter_zi(b, a) * force[0, k])[0]
    return out
