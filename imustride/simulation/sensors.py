"""From the skate's motion to one device's log: mounting, low pass, clock, errors, range, gaps."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, cast

import numpy as np

from imustride.constants import SIDES, STANDARD_GRAVITY_M_S2
from imustride.recording import SensorLog
from imustride.session import Sensor
from imustride.simulation.blade import body_rate, rotate, rotate_back
from imustride.simulation.steps import OUTWARD
from imustride.simulation.transitions import GRID_HZ, Course, slope
from imustride.simulation.vibration import through_holder

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.session import Place
    from imustride.simulation.attitude import Attitude
    from imustride.simulation.parameters import Device

    Floats = NDArray[np.float64]

COUNTS = 32768  # of a 16-bit converter on each side of zero
AXES = ("x", "y", "z")


@dataclass(frozen=True, eq=False, slots=True)
class Logged:
    """A log and the spans [s, own clock] in which samples are missing or clipped."""

    log: SensorLog
    spoilt_s: tuple[tuple[float, float], ...]


def ideal(
    device: Device, side: str, attitude: Attitude, place_m: Floats, slip_at_s: float
) -> tuple[Floats, Floats]:
    """Specific force [m/s^2] and angular velocity [rad/s] a perfect sensor feels, segment axes.

    The sensor sits at `position_m` and turns against the blade with the load (boot flex) and, once,
    with a slip of its mount; exact derivatives of that motion on the grid.
    """
    flex_axis = np.asarray(device.flex_axis) * (OUTWARD[side], 1.0, OUTWARD[side])
    flex = np.radians(device.boot_flex_deg) * (attitude.load - 0.5)
    lever = _turn_about(np.broadcast_to(np.asarray(device.position_m), (len(flex), 3)), flex_axis, flex)
    place = place_m + rotate(attitude, lever)
    force = np.gradient(place, 1 / GRID_HZ, axis=0)
    force[1:-1] = (place[2:] - 2 * place[1:-1] + place[:-2]) * GRID_HZ**2
    force[0] = force[-1] = 0.0
    force[:, 2] += STANDARD_GRAVITY_M_S2
    force = _turn_about(rotate_back(attitude, force), flex_axis, -flex)
    rate = _turn_about(body_rate(attitude), flex_axis, -flex) + slope(flex)[:, None] * flex_axis
    if device.slip_deg == 0:
        return force, rate
    slipped = Course(len(flex))
    slipped.move(slip_at_s, slip_at_s + 0.15, float(np.radians(device.slip_deg)))
    slip, slip_axis = slipped.values(), np.array([0.6, 0.64, 0.48])
    rate = _turn_about(rate, slip_axis, -slip) + slope(slip)[:, None] * slip_axis
    return _turn_about(force, slip_axis, -slip), rate


def _turn_about(vector: Floats, axis: Floats, angle: Floats) -> Floats:
    """Rotate vectors (n, 3) about one axis by angles (n,)."""
    if not angle.any():
        return vector
    cos, sin = np.cos(angle)[:, None], np.sin(angle)[:, None]
    along = (vector @ axis)[:, None] * axis
    return np.asarray(along + cos * (vector - along) + sin * np.cross(axis, vector))


def own_time(device: Device, true_s: float | Floats) -> float | Floats:
    """Time on the device's own clock [s]."""
    return true_s * (1 + device.clock_drift_ppm * 1e-6) + device.clock_offset_s


def record(
    device: Device,
    place: str,
    force: Floats,
    rate: Floats,
    log_s: tuple[float, float],
    motion_s: tuple[float, float],
    rng: np.random.Generator,
) -> Logged:
    """Sample the grid signals as the device at a place does, from `log_s[0]` to `log_s[1]` (true time).

    A side alone stands for the skate there.
    """
    from scipy.spatial.transform import Rotation

    sensor_from_segment = Rotation.from_quat(device.mount_quaternion).as_matrix().T
    signals = np.hstack([through_holder(force, device), rate])
    signals = _low_pass(signals, device)
    first, last = (float(own_time(device, time_s)) for time_s in log_s)
    own_s = first + np.arange(int((last - first) * device.rate_hz)) / device.rate_hz
    true_s = (own_s - device.clock_offset_s) / (1 + device.clock_drift_ppm * 1e-6)
    sampled = _between(signals, (true_s - device.delay_s) * GRID_HZ)
    acceleration, acceleration_end = _converted(
        sampled[:, :3]
        @ sensor_from_segment.T
        @ _gain(device.acceleration_scale_ratio, device.acceleration_misalignment_deg).T
        + device.acceleration_bias_m_s2
        + device.acceleration_noise_m_s2 * rng.normal(size=(len(own_s), 3)),
        device.acceleration_range_g * STANDARD_GRAVITY_M_S2,
    )
    turning, turning_end = _converted(
        sampled[:, 3:]
        @ sensor_from_segment.T
        @ _gain(device.gyro_scale_ratio, device.gyro_misalignment_deg).T
        + np.radians(device.gyro_bias_deg_s)
        + np.radians(device.gyro_noise_deg_s) * rng.normal(size=(len(own_s), 3)),
        np.radians(device.angular_velocity_range_deg_s),
    )
    missing = _missing(device, own_s, motion_s, rng)
    clipped = (acceleration_end | turning_end) & ~missing
    stamps = np.round(own_s + device.stamp_jitter_s * rng.normal(size=len(own_s)), 6)
    spoilt = _spans(own_s, missing | clipped)
    if device.gap_as_nan:
        acceleration[missing], turning[missing] = np.nan, np.nan
        kept = np.ones(len(own_s), bool)
    else:
        kept = ~missing
    log = SensorLog(declaration(device, place), stamps[kept], acceleration[kept], turning[kept], "simulated")
    return Logged(log, spoilt)


def _low_pass(signals: Floats, device: Device) -> Floats:
    """Apply the device's own causal low pass on the fine grid."""
    if device.low_pass_ratio <= 0:
        return signals
    from scipy.signal import butter, sosfilt, sosfilt_zi

    cut_hz = device.low_pass_ratio * device.rate_hz
    sections = butter(device.low_pass_order, cut_hz, fs=GRID_HZ, output="sos")
    start = sosfilt_zi(sections)[:, :, None] * signals[0]
    return np.asarray(sosfilt(sections, signals, axis=0, zi=start)[0])


def _between(signals: Floats, at: Floats) -> Floats:
    """Four-point Lagrange interpolation of grid signals (n, k) at fractional samples."""
    base = np.clip(np.floor(at).astype(int), 1, len(signals) - 3)
    u = (at - base)[:, None]
    before, here, after, beyond = (signals[base + k] for k in (-1, 0, 1, 2))
    return np.asarray(
        -u * (u - 1) * (u - 2) / 6 * before
        + (u + 1) * (u - 1) * (u - 2) / 2 * here
        - (u + 1) * u * (u - 2) / 2 * after
        + (u + 1) * u * (u - 1) / 6 * beyond
    )


def _gain(scale: tuple[float, float, float], misalignment_deg: tuple[float, float, float]) -> Floats:
    """Matrix of scale errors and a small wrong turn of the sensitive axes."""
    x, y, z = np.radians(misalignment_deg)
    return np.asarray(np.eye(3) + np.diag(scale) + np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]]))


def _converted(values: Floats, end: float) -> tuple[Floats, NDArray[np.bool_]]:
    """Quantise to 16 bits over the range; also return which samples sit at its end."""
    step = end / COUNTS
    counts = np.clip(np.round(values / step), -COUNTS, COUNTS - 1)
    at_end = (counts <= -COUNTS) | (counts >= COUNTS - 1)
    return counts * step, np.asarray(at_end.any(axis=1))


def _missing(
    device: Device, own_s: Floats, motion_s: tuple[float, float], rng: np.random.Generator
) -> NDArray[np.bool_]:
    """Draw the dropouts, somewhere in the motion."""
    missing = np.zeros(len(own_s), bool)
    for _ in range(device.gaps):
        at_s = float(own_time(device, rng.uniform(*motion_s)))
        length_s = float(rng.uniform(3 / device.rate_hz, max(device.gap_longest_s, 4 / device.rate_hz)))
        missing |= (own_s >= at_s) & (own_s < at_s + length_s)
    return missing


def _spans(own_s: Floats, bad: NDArray[np.bool_]) -> tuple[tuple[float, float], ...]:
    """Return the (first, last) times of runs of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], bad.astype(int), [0]])))
    return tuple((float(own_s[i]), float(own_s[j - 1])) for i, j in edges.reshape(-1, 2))


def declaration(device: Device, place: str) -> Sensor:
    """Return what the session file says of this sensor; a side alone stands for the skate there."""
    from scipy.spatial.transform import Rotation

    on_skate = place in SIDES
    sensor = Sensor(
        place=cast("Place", f"{place}_skate" if on_skate else place),
        device=f"SIM{place[0].upper()}" if on_skate else f"SIM-{place.replace('_', '-')}",
        acceleration_range_g=device.acceleration_range_g,
        angular_velocity_range_deg_s=device.angular_velocity_range_deg_s,
    )
    update: dict[str, object] = {}
    if device.axes_declared:
        segment_from_sensor = Rotation.from_quat(device.mount_quaternion).as_matrix()
        update["axes"] = nominal_axes(segment_from_sensor)
    if device.position_declared:
        position_m = np.round(np.add(device.position_m, device.position_error_m), 3)
        update["position_m"] = tuple(float(value) for value in position_m)
    if device.low_pass_declared and device.low_pass_ratio > 0:
        cut_hz = device.low_pass_ratio * device.rate_hz
        group_s = (1.0 if device.low_pass_order == 1 else np.sqrt(2)) / (2 * np.pi * cut_hz)
        update["bandwidth_hz"] = round(cut_hz, 1)
        update["delay_ms"] = round(float(group_s + device.delay_s) * 1000, 2)
    return sensor.model_copy(update=update)


def nominal_axes(segment_from_sensor: Floats) -> tuple[str, str, str]:
    """Sensor axes that point nearest to forward, left and up."""
    words = []
    for row in segment_from_sensor:
        i = int(np.argmax(np.abs(row)))
        words.append(("+" if row[i] > 0 else "-") + AXES[i])
    return words[0], words[1], words[2]


def perfect(device: Device) -> Device:
    """Return the same worn device without errors, noise, low pass, delay, end of range or gaps."""
    nothing = (0.0, 0.0, 0.0)
    return replace(
        device,
        stamp_jitter_s=0.0,
        acceleration_bias_m_s2=nothing,
        acceleration_scale_ratio=nothing,
        acceleration_misalignment_deg=nothing,
        acceleration_noise_m_s2=0.0,
        gyro_bias_deg_s=nothing,
        gyro_scale_ratio=nothing,
        gyro_misalignment_deg=nothing,
        gyro_noise_deg_s=0.0,
        low_pass_ratio=0.0,
        delay_s=0.0,
        gaps=0,
    )
