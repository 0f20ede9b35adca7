"""What shakes the skate without moving it: ice, ringing after impacts, the sensor's holder."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.simulation.transitions import GRID_HZ, sample, wander

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.simulation.attitude import Attitude
    from imustride.simulation.blade import Path
    from imustride.simulation.drawing import Draw
    from imustride.simulation.parameters import Device
    from imustride.simulation.steps import Step
    from imustride.simulation.timing import Plan

    Floats = NDArray[np.float64]

REFERENCE_SPEED_M_S = 8.0
SIDEWAYS_FACTOR = 3.0  # a blade scraping sideways shakes more than one gliding
RINGS_UNTIL = 6.0  # time constants after which a ringing is over


def shaking(
    draw: Draw, plan: Plan, path: Path, attitude: Attitude, steps: tuple[Step, ...]
) -> tuple[Floats, Floats]:
    """Return added acceleration [m/s^2] and angular velocity [rad/s], segment axes, (n, 3) each."""
    side = steps[0].contact.side
    rng = np.random.default_rng([draw.seed, 80 + (side == "right"), draw.run])
    acceleration, turning = _ice(draw, path, attitude, rng)
    frequency_hz = float(np.exp(rng.uniform(np.log(40), np.log(250))))
    decay_s = float(rng.uniform(0.006, 0.03))
    share = float(rng.uniform(0.05, 0.5))
    for step in steps[1:]:
        hit = share * step.landing_m_s / step.landing_s
        _ring(acceleration, turning, step.contact.on_s, hit, frequency_hz, decay_s, rng)
        swept = abs(step.pitch_rad[1] - step.pitch_rad[0]) / step.settle_s[1]
        if draw.skater.slap:
            slapped_s = step.contact.on_s + sum(step.settle_s) * 0.9
            _ring(acceleration, turning, slapped_s, 5 * share * swept, frequency_hz, decay_s, rng)
    _shock_rings(draw, plan, acceleration, turning, frequency_hz, decay_s)
    return acceleration, turning


def _ice(draw: Draw, path: Path, attitude: Attitude, rng: np.random.Generator) -> tuple[Floats, Floats]:
    """Band noise that grows with speed and load while the blade is on the ice."""
    from scipy.ndimage import uniform_filter1d
    from scipy.signal import butter, sosfilt

    conditions = draw.conditions
    samples = len(path.on_ice)
    band = [conditions.vibration_low_hz, max(conditions.vibration_high_hz, 2 * conditions.vibration_low_hz)]
    sections = butter(1, band, "bandpass", fs=GRID_HZ, output="sos")
    noise = np.asarray(sosfilt(sections, rng.normal(size=(6, samples)), axis=-1)).T
    noise /= noise.std(axis=0)
    weights = rng.uniform(0.4, 1.0, 6) * (0.7, 0.9, 1.0, 1.0, 1.0, 0.6)
    weights[:3] /= np.linalg.norm(weights[:3])
    weights[3:] /= np.linalg.norm(weights[3:])
    speed = np.hypot(path.along_m_s, SIDEWAYS_FACTOR * path.across_m_s) / REFERENCE_SPEED_M_S
    size = conditions.ice_vibration_m_s2 * speed**conditions.vibration_speed_power
    size *= attitude.load**conditions.vibration_load_power * np.exp(0.25 * wander(rng, samples, 12.0))
    size *= uniform_filter1d(path.on_ice.astype(float), 7)
    shaken = noise * weights * size[:, None]
    return shaken[:, :3], shaken[:, 3:] * np.radians(conditions.vibration_turn_deg_s)


def _ring(
    acceleration: Floats,
    turning: Floats,
    hit_s: float,
    size_m_s2: float,
    frequency_hz: float,
    decay_s: float,
    rng: np.random.Generator,
) -> None:
    """Add one damped ringing in a random direction, mostly upright (in place)."""
    first = sample(hit_s)
    last = min(first + sample(RINGS_UNTIL * decay_s), len(acceleration))
    time_s = np.arange(last - first) / GRID_HZ
    wave = np.exp(-time_s / decay_s) * np.sin(2 * np.pi * frequency_hz * rng.uniform(0.9, 1.1) * time_s)
    direction = np.array([0.5, 0.6, 1.0]) * rng.normal(size=3)
    acceleration[first:last] += size_m_s2 * wave[:, None] * direction / np.linalg.norm(direction)
    turn = np.array([1.0, 1.0, 0.5]) * rng.normal(size=3)
    turning[first:last] += np.radians(1.5) * size_m_s2 * wave[:, None] * turn / np.linalg.norm(turn)


def _shock_rings(
    draw: Draw, plan: Plan, acceleration: Floats, turning: Floats, frequency_hz: float, decay_s: float
) -> None:
    """Ringing after the shared shocks; a knock is one, without any motion of the feet."""
    rng = draw.stream("ice")
    knock = draw.conditions.shock_kind == "knock"
    for shock_s in plan.shocks_s:
        size = float(rng.uniform(40, 110) if knock else rng.uniform(10, 50))
        _ring(acceleration, turning, shock_s, size, frequency_hz, decay_s, rng)


def through_holder(acceleration: Floats, device: Device) -> Floats:
    """Return the acceleration passed on by a holder that rings lightly damped; rigid below its resonance."""
    if device.bracket_hz <= 0:
        return acceleration
    from scipy.signal import bilinear, lfilter, lfilter_zi

    omega = 2 * np.pi * device.bracket_hz
    loss = 2 * device.bracket_damping_ratio * omega
    b, a = bilinear([loss, omega**2], [1.0, loss, omega**2], fs=GRID_HZ)
    start = lfilter_zi(b, a)[:, None] * acceleration[0]
    passed, _ = lfilter(b, a, acceleration, axis=0, zi=start)
    return np.asarray(passed)
