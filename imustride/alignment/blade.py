"""Align a skate: level from the quiet stance, forward from the run, velocity from both."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.alignment.beginning import beginning_of, fitted
from imustride.alignment.forward import wander_m_s
from imustride.alignment.motion import Alignment, BladeSettings, running_integral, turn_about_up
from imustride.frames import (
    about_vector,
    about_vectors,
    axis_vector,
    empty_matrices,
    matrices_on,
    products,
    turned_matrices,
    turned_vectors,
)
from imustride.recording import pieces

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.alignment.beginning import Beginning
    from imustride.alignment.forward import Fit
    from imustride.kinematics import Cut
    from imustride.recording import Recording


def align(
    recording: Recording,
    earth_from_sensor: NDArray[np.float64],
    cut: Cut,
    settings: BladeSettings | None = None,
) -> Alignment:
    """Return how the sensor sits on the skate, and how the skate moved.

    Parameters
    ----------
    recording : Recording
    earth_from_sensor : ndarray, shape (n, 3, 3)
        Attitude, z up, any heading.
    cut : Cut
        Quiet stance and motion on the own clock.
    settings : BladeSettings, optional

    Returns
    -------
    Alignment
    """
    settings = settings or BladeSettings()
    run = beginning_of(recording, earth_from_sensor, cut, settings)
    found, fastest_m_s = dead_reckoned(recording, earth_from_sensor, run, settings)
    if len(run.breaks) and fastest_m_s > settings.fastest_m_s:
        # Nobody skates that fast: what the breaks took was guessed wrong, better to guess nothing.
        run = replace(run, breaks=run.breaks[:0])
        plain, plain_m_s = dead_reckoned(recording, earth_from_sensor, run, settings)
        found = plain if plain_m_s < fastest_m_s else found
    return found


def dead_reckoned(
    recording: Recording,
    earth_from_sensor: NDArray[np.float64],
    run: Beginning,
    settings: BladeSettings,
) -> tuple[Alignment, float]:
    """Fit, and integrate with what was fitted; also the highest speed within the fit [m/s]."""
    axes = recording.sensor.axes
    declared = None if axes is None else declared_azimuth(axes, run.level_from_sensor)
    lever = recording.sensor.position_m or settings.default_lever_m
    mended, fit = fitted(run, lever, declared, settings)
    turn = turn_about_up(fit.azimuth_rad)
    rotation = correction_rad(run, mended, fit.unknowns)
    straight = products(about_vectors(rotation), mended)
    # An accelerometer bias tilts the level found in the stance; the stance itself stays the zero.
    level_from_segment = straight[0].T @ turn.T
    sensor_from_segment = run.level_from_sensor.T @ level_from_segment
    # What was lost in breaks, and the correction at the end of the fit, hold behind it.
    later = about_vector(rotation[-1]) @ mended[-1] @ run.attitude[-1].T
    attitude = empty_matrices(len(earth_from_sensor))
    for part, left in (
        (slice(0, run.span.start), about_vector(rotation[0])),
        (slice(run.span.stop, len(attitude)), later),
    ):
        turned_matrices(turn @ left @ run.north, earth_from_sensor[part], sensor_from_segment, attitude[part])
    turned_matrices(turn, straight, level_from_segment, attitude[run.span])
    velocity = blade_velocity_m_s(recording, attitude, run, fit, level_from_segment, settings)
    end = run.span.start + run.fitted
    known_until_s = recording.start_s + (end - 1) / recording.rate_hz
    fastest_m_s = float(np.hypot(*velocity[run.span.start : end, :2].T).max())
    found = Alignment(sensor_from_segment.T, fit.azimuth_sd_rad, attitude, velocity, known_until_s)
    return found, fastest_m_s


def declared_azimuth(axes: tuple[str, str, str], level_from_sensor: NDArray[np.float64]) -> float:
    """Azimuth of the declared forward axis in the levelled sensor [rad]."""
    seen = level_from_sensor @ axis_vector(axes[0])
    return float(np.arctan2(seen[1], seen[0]))


def correction_rad(
    run: Beginning, attitude: NDArray[np.float64], unknowns: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Rotation vector in the earth frame that takes the fitted biases out of the attitude [rad], shape (m, 3).

    Behind the fit it stays as it is at its end: a bias of a short fit says little of later.
    """
    tilt = np.array([-unknowns[1], unknowns[0], 0.0]) / run.gravity_m_s2
    turning = attitude[: run.fitted] @ unknowns[3:6]
    found = tilt - running_integral(turning, run.rate_hz)
    return np.concatenate((found, np.broadcast_to(found[-1], (len(attitude) - run.fitted, 3))))


def cross_matrix(vector: NDArray[np.float64]) -> NDArray[np.float64]:
    """Matrix that takes the cross product with a vector from the left, shape (3, 3)."""
    x, y, z = vector
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def blade_velocity_m_s(
    recording: Recording,
    attitude: NDArray[np.float64],
    run: Beginning,
    fit: Fit,
    level_from_segment: NDArray[np.float64],
    settings: BladeSettings,
) -> NDArray[np.float64]:
    """Velocity of the middle of the blade in the earth frame, zero before the motion, shape (n, 3).

    Parameters
    ----------
    recording : Recording
    attitude : ndarray, shape (n, 3, 3)
        ``earth_from_segment``.
    run, fit : Beginning, Fit
    level_from_segment : ndarray, shape (3, 3)
    settings : BladeSettings
    """
    turn = turn_about_up(fit.azimuth_rad)
    lever = np.add(recording.sensor.position_m or settings.default_lever_m, [fit.lever_m, 0.0, 0.0])
    segment_from_level = level_from_segment.T
    pulling = segment_from_level @ run.level_from_sensor
    sweeping = segment_from_level @ cross_matrix(turn.T @ lever) @ run.level_from_sensor
    bias = segment_from_level @ fit.unknowns[:3]
    gravity = run.gravity_m_s2 - fit.unknowns[2]
    velocity = np.zeros((3, len(attitude)))
    start = run.span.start
    total, first = np.zeros((3, 1)), None
    for piece in pieces(len(attitude) - start):
        at = slice(start + piece.start, start + piece.stop)
        pull = matrices_on(attitude[at], turned_vectors(pulling, recording.acceleration_m_s2[at]) - bias).T
        pull[2] -= gravity
        first = pull[:, :1].copy() if first is None else first
        # The trapezoid rule: a running sum without half of the first and half of the last.
        summed = np.cumsum(pull, axis=1) + total
        total = summed[:, -1:].copy()
        summed -= 0.5 * (pull + first)
        swept = turned_vectors(sweeping, recording.angular_velocity_rad_s[at])
        velocity[:, at] = summed / recording.rate_hz + matrices_on(attitude[at], swept).T
        time_s = np.arange(piece.start, piece.stop) / recording.rate_hz
        velocity[:2, at] += turn[:2, :2] @ wander_m_s(fit, time_s, settings)
    span = round(settings.relevel_s * recording.rate_hz)
    for end, step in zip(run.breaks[:, 1], fit.unknowns[6:].reshape(-1, 6)[:, 3:], strict=True):
        velocity[:, start + end :] += (turn @ step)[:, None]
        # No constraint holds the vertical: over a stride or two a skate gains no height.
        velocity[2, start + end :] -= velocity[2, start + end : start + end + span].mean()
    return velocity.T
