"""One sensor on one foot of a sprint, with its true attitude: what orientation filters are judged by.

Position and attitude angles are quintic splines, so rates and accelerations are their exact
derivatives. No contact mechanics: only what a filter sees matters here, above all that the mean
acceleration over a few strides is not gravity.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import make_interp_spline
from scipy.spatial.transform import Rotation

GRAVITY_M_S2 = 9.81
COOLING_S = 300.0
KNOT_S = 0.05  # of the splines: motion up to about 8 Hz
STANCE_S = 4.0


@dataclass(frozen=True, eq=False)
class SensorErrors:
    """Gyroscope [rad/s], accelerometer [m/s^2], scale and misalignment; standard deviations."""

    gyro_bias_rad_s: float = np.deg2rad(1.0)
    gyro_drift_rad_s: float = np.deg2rad(0.03)  # of the bias, as the sensor cools down over minutes
    gyro_noise_rad_s: float = np.deg2rad(0.1)
    gyro_scale: float = 0.003
    misalignment_rad: float = np.deg2rad(0.2)
    force_bias_m_s2: float = 0.12
    force_noise_m_s2: float = 0.05
    vibration_m_s2: float = 3.0


GOOD = SensorErrors()
PERFECT = SensorErrors(*(0.0,) * 8)
POOR = SensorErrors(
    gyro_bias_rad_s=np.deg2rad(2.0), gyro_noise_rad_s=np.deg2rad(0.2), gyro_scale=0.01,
    misalignment_rad=np.deg2rad(0.5), force_bias_m_s2=0.4, vibration_m_s2=6.0,
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class AttitudeRun:
    """Signals (n, 3) in sensor axes, truth (n, 3, 3), stances and the moving span as slices."""

    rate_hz: float
    angular_velocity_rad_s: np.ndarray
    acceleration_m_s2: np.ndarray
    earth_from_sensor: np.ndarray
    before: slice
    after: slice | None
    motion: slice
    guessed: np.ndarray | None = None


def body_rate(angles: np.ndarray, rates: np.ndarray) -> np.ndarray:
    """Angular velocity in body axes of yaw, pitch, roll (z, y', x'') and their derivatives, (n, 3)."""
    _, pitch, roll = angles.T
    yaw_rate, pitch_rate, roll_rate = rates.T
    return np.column_stack(
        [
            roll_rate - yaw_rate * np.sin(pitch),
            pitch_rate * np.cos(roll) + yaw_rate * np.cos(pitch) * np.sin(roll),
            yaw_rate * np.cos(pitch) * np.cos(roll) - pitch_rate * np.sin(roll),
        ]
    )


def smooth_step(x: np.ndarray) -> np.ndarray:
    """0 below 0, 1 above 1, twice differentiable between."""
    x = np.clip(x, 0, 1)
    return x**3 * (10 - 15 * x + 6 * x * x)


def stride_shapes(
    time_s: np.ndarray, stride_s: float, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """Angles (yaw, pitch, roll) [rad] and offsets (x, y, z) [m] of a foot that pushes and swings."""
    jitter = np.cumsum(rng.normal(0, 0.04, len(time_s)) * np.sqrt(KNOT_S / stride_s))
    phase = 2 * np.pi * (time_s / stride_s) + jitter + rng.uniform(0, 2 * np.pi)
    push = np.exp(-((np.angle(np.exp(1j * phase)) / 0.35) ** 2))  # heel up around the end of contact
    angles = np.column_stack(
        [
            0.35 + 0.25 * np.sin(phase + 0.4),
            rng.uniform(0.6, 1.0) * push + 0.1 * np.sin(2 * phase),
            rng.uniform(0.25, 0.45) * np.sin(phase - 0.6),
        ]
    )
    lift = 0.12 * np.clip(np.sin(phase), 0, None) ** 3
    return angles, np.column_stack([0.3 * np.cos(phase + 0.8), 0.35 * np.sin(phase - 0.3), lift])


def course(travel_m: np.ndarray, lap_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Heading [rad] and position (n, 3) [m] after a way along a circle of that length (inf: straight)."""
    turn = travel_m * 2 * np.pi / lap_m
    radius = lap_m / (2 * np.pi)
    if not np.isfinite(radius):
        return turn, np.column_stack([travel_m, turn, turn])
    return turn, radius * np.column_stack([np.sin(turn), 1 - np.cos(turn), np.zeros_like(turn)])


def attitude_run(
    seed: int, rate_hz: float, motion_s: float, errors: SensorErrors = GOOD, *, lap_m: float = np.inf
) -> AttitudeRun:
    """Simulate a stance, `motion_s` of skating, 3 s of glide and stop with the foot turned, a stance.

    With `lap_m` the way is a circle of that length: long skating that never leaves the rink.
    """
    rng = np.random.default_rng(seed)
    brake_s = 3.0
    total_s = 2 * STANCE_S + motion_s + brake_s
    knots = np.arange(-1.0, total_s + 1.0, KNOT_S)
    since = knots - STANCE_S
    stride_s = rng.uniform(0.5, 1.2)
    moving = (smooth_step(since / 0.5) * smooth_step((motion_s - since) / 0.5))[:, None]
    angles, offsets = stride_shapes(knots, stride_s, rng)
    phase = 2 * np.pi * rng.uniform(0.15, 0.5, 3) * knots[:, None] + rng.uniform(0, 6, 3)
    angles = angles * moving + np.deg2rad(rng.uniform(0.1, 0.5, 3)) * np.sin(phase)  # sway
    speed = rng.uniform(6, 9) * (1 - np.exp(-np.clip(since, 0, None) / rng.uniform(1.2, 1.8)))
    speed *= smooth_step(since / 0.3) * (1 - smooth_step((since - motion_s) / brake_s))
    heading, body = course(np.cumsum(speed) * KNOT_S, lap_m)
    angles[:, 0] += heading + rng.normal(0, 0.8) * smooth_step((since - motion_s) / brake_s)
    along = Rotation.from_euler("ZYX", np.column_stack([heading, 0 * heading, 0 * heading]))
    position = body + along.apply(offsets * moving)
    return _sampled(rng, rate_hz, knots, angles, position, errors, (STANCE_S, total_s - STANCE_S, total_s))


def _sampled(rng, rate_hz, knots, angles, position, errors, marks) -> AttitudeRun:
    """Differentiate the splines, look from a sensor mounted anyhow, and add the sensor's errors."""
    begin_s, end_s, total_s = marks
    time_s = np.arange(int(total_s * rate_hz)) / rate_hz
    curve, path = make_interp_spline(knots, angles, k=5), make_interp_spline(knots, position, k=5)
    segment_from_sensor = Rotation.from_quat(rng.normal(size=4)).as_matrix()
    truth = Rotation.from_euler("ZYX", curve(time_s)).as_matrix() @ segment_from_sensor
    gyro = body_rate(curve(time_s), curve.derivative()(time_s)) @ segment_from_sensor
    force = np.einsum("nji,nj->ni", truth, path.derivative(2)(time_s) + np.array([0, 0, GRAVITY_M_S2]))
    crooked = Rotation.from_rotvec(rng.normal(0, errors.misalignment_rad, 3)).as_matrix()
    gyro = gyro @ crooked * (1 + rng.normal(0, errors.gyro_scale, 3)) + rng.normal(
        0, errors.gyro_bias_rad_s, 3
    )
    cooled = 1 - np.exp(-time_s / COOLING_S)
    gyro += cooled[:, None] * rng.normal(0, errors.gyro_drift_rad_s, 3)
    gyro += rng.normal(0, 1, gyro.shape) * errors.gyro_noise_rad_s
    moving = (time_s > begin_s) & (time_s < end_s)
    rough = errors.force_noise_m_s2 + errors.vibration_m_s2 * moving[:, None]
    force += rng.normal(0, errors.force_bias_m_s2, 3) + rng.normal(0, 1, gyro.shape) * rough

    def span(start_s: float, stop_s: float) -> slice:
        return slice(int(start_s * rate_hz), int(stop_s * rate_hz))

    return AttitudeRun(
        rate_hz, gyro, force, truth,
        before=span(0.3, begin_s - 0.2), after=span(end_s + 0.5, total_s - 0.1), motion=span(begin_s, end_s),
    )  # fmt: skip
