"""Align a skate: level from the quiet stance, forward from the run, velocity from both."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.alignment.forward import fit_forward, wander_m_s
from imustride.alignment.gaps import breaks_in, mended, relevelled, turned
from imustride.alignment.motion import Alignment, BladeSettings, running_integral, strapdown, turn_about_up
from imustride.frames import level_from_gravity

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.alignment.forward import Fit
    from imustride.kinematics import Cut
    from imustride.recording import Recording


@dataclass(frozen=True, eq=False, slots=True)
class Levelled:
    """A recording in the sensor's levelled axes.

    Parameters
    ----------
    force, rate : ndarray, shape (n, 3)
        Specific force [m/s^2] and angular velocity [rad/s].
    attitude : ndarray, shape (n, 3, 3)
        ``earth_from_level``; the earth frame is the levelled sensor's own frame in the stance.
    gravity_m_s2 : float
        As the sensor measures it in the stance.
    rate_hz : float
    fitted : slice
        From the last sample of the stance to the last that the fit uses.
    """

    force: NDArray[np.float64]
    rate: NDArray[np.float64]
    attitude: NDArray[np.float64]
    gravity_m_s2: float
    rate_hz: float
    fitted: slice


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
    levelled, level_from_sensor = in_level(recording, earth_from_sensor, cut, settings)
    axes = recording.sensor.axes
    declared = None if axes is None else declared_azimuth(axes, level_from_sensor)
    lever = recording.sensor.position_m or settings.default_lever_m
    breaks = breaks_in(recording, levelled.fitted, settings)
    moved = dead_reckoned(levelled, breaks, lever, declared, settings)
    if len(breaks) and moved.fastest_m_s > settings.fastest_m_s:
        # Nobody skates that fast: what the breaks took was guessed wrong, better to guess nothing.
        plain = dead_reckoned(levelled, breaks[:0], lever, declared, settings)
        moved = min(moved, plain, key=lambda one: one.fastest_m_s)
    turn = turn_about_up(moved.fit.azimuth_rad)
    # An accelerometer bias tilts the level found in the stance; the stance itself stays the zero.
    level = moved.attitude[levelled.fitted.start].T
    return Alignment(
        turn @ level.T @ level_from_sensor,
        moved.fit.azimuth_sd_rad,
        turned(moved.attitude, turn, level @ turn.T),
        moved.velocity_m_s @ turn.T,
        recording.start_s + (levelled.fitted.stop - 1) / recording.rate_hz,
    )


@dataclass(frozen=True, eq=False, slots=True)
class DeadReckoned:
    """A fit, the attitude and velocity that follow (n rows), and the highest speed within the fit."""

    fit: Fit
    attitude: NDArray[np.float64]
    velocity_m_s: NDArray[np.float64]
    fastest_m_s: float


def dead_reckoned(
    levelled: Levelled,
    breaks: NDArray[np.int64],
    lever_m: tuple[float, float, float],
    declared_rad: float | None,
    settings: BladeSettings,
) -> DeadReckoned:
    """Fit, and integrate with what was fitted."""
    levelled, fit, steps = fitted(levelled, breaks, lever_m, declared_rad, settings)
    straight = corrected_attitude(levelled, fit.unknowns)
    lever_level = turn_about_up(fit.azimuth_rad).T @ np.add(lever_m, [fit.lever_m, 0.0, 0.0])
    velocity = blade_velocity_m_s(replace(levelled, attitude=straight), fit, lever_level, settings)
    span = round(settings.relevel_s * levelled.rate_hz)
    for at, step in steps:
        velocity[at:] += step
        # No constraint holds the vertical: over a stride or two a skate gains no height.
        velocity[at:, 2] -= velocity[at : at + span, 2].mean()
    fastest = float(np.hypot(*velocity[levelled.fitted, :2].T).max())
    return DeadReckoned(fit, straight, velocity, fastest)


def in_level(
    recording: Recording, earth_from_sensor: NDArray[np.float64], cut: Cut, settings: BladeSettings
) -> tuple[Levelled, NDArray[np.float64]]:
    """Turn a recording into the axes that its quiet stance levels; also ``level_from_sensor``."""
    stance = slice(recording.index(cut.stance_s[0]), recording.index(cut.stance_s[1]))
    up = recording.acceleration_m_s2[stance].mean(axis=0)
    level_from_sensor = level_from_gravity(up)
    heading = earth_from_sensor[stance.stop] @ level_from_sensor.T
    north = turn_about_up(np.arctan2(heading[1, 0], heading[0, 0]))
    longest = stance.stop + round(settings.longest_fit_s * recording.rate_hz)
    end = min(recording.index(cut.motion_s[1]), longest)
    levelled = Levelled(
        recording.acceleration_m_s2 @ level_from_sensor.T,
        recording.angular_velocity_rad_s @ level_from_sensor.T,
        turned(earth_from_sensor, north, level_from_sensor.T),
        float(np.linalg.norm(up)),
        recording.rate_hz,
        slice(stance.stop, end + 1),
    )
    return levelled, level_from_sensor


def declared_azimuth(axes: tuple[str, str, str], level_from_sensor: NDArray[np.float64]) -> float:
    """Azimuth of the declared forward axis in the levelled sensor [rad]."""
    forward = np.zeros(3)
    forward["xyz".index(axes[0][1])] = 1.0 if axes[0][0] == "+" else -1.0
    seen = level_from_sensor @ forward
    return float(np.arctan2(seen[1], seen[0]))


def fitted(
    levelled: Levelled,
    breaks: NDArray[np.int64],
    lever_m: tuple[float, float, float],
    declared_rad: float | None,
    settings: BladeSettings,
) -> tuple[Levelled, Fit, list[tuple[int, NDArray[np.float64]]]]:
    """Fit the forward axis and what the breaks took; return the mended motion and its steps of velocity."""
    first = levelled.fitted.start
    if len(breaks):
        attitude = relevelled(
            levelled.attitude, levelled.force, levelled.rate, levelled.rate_hz, breaks + first, settings
        )
        levelled = replace(levelled, attitude=attitude)
    # The turn lost in a break may be large: a second round starts from the first one's attitude.
    for _ in range(2 if len(breaks) else 1):
        piece = levelled.fitted
        motion = strapdown(
            levelled.force[piece],
            levelled.rate[piece],
            levelled.attitude[piece],
            levelled.gravity_m_s2,
            levelled.rate_hz,
            breaks,
            settings,
        )
        fit = fit_forward(motion, lever_m, declared_rad, settings)
        lost = fit.unknowns[6:].reshape(-1, 6)
        if len(breaks):
            levelled = replace(
                levelled, attitude=mended(levelled.attitude, breaks[:, 1] + first, lost[:, :3])
            )
    return (
        levelled,
        fit,
        [(int(end) + first, step) for (_, end), step in zip(breaks, lost[:, 3:], strict=True)],
    )


def corrected_attitude(levelled: Levelled, unknowns: NDArray[np.float64]) -> NDArray[np.float64]:
    """Take the fitted biases out of the attitude; small angles, shape (n, 3, 3).

    Beyond the fit the turn stays as it is at its end: a bias of a short fit says little of later.
    """
    attitude, piece = levelled.attitude, levelled.fitted
    tilt = np.array([-unknowns[1], unknowns[0], 0.0]) / levelled.gravity_m_s2
    rotation = tilt - running_integral(attitude[piece] @ unknowns[3:6], levelled.rate_hz)
    out = np.empty_like(attitude)
    out[: piece.start] = turned(attitude[: piece.start], np.eye(3) + cross_matrix(tilt), np.eye(3))
    out[piece.stop :] = turned(attitude[piece.stop :], np.eye(3) + cross_matrix(rotation[-1]), np.eye(3))
    old, (x, y, z) = attitude[piece], rotation.T[:, :, None]
    out[piece, 0] = old[:, 0] - z * old[:, 1] + y * old[:, 2]
    out[piece, 1] = old[:, 1] + z * old[:, 0] - x * old[:, 2]
    out[piece, 2] = old[:, 2] - y * old[:, 0] + x * old[:, 1]
    return out


def cross_matrix(vector: NDArray[np.float64]) -> NDArray[np.float64]:
    """Matrix that takes the cross product with a vector from the left, shape (3, 3)."""
    x, y, z = vector
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])


def blade_velocity_m_s(
    levelled: Levelled, fit: Fit, lever_level_m: NDArray[np.float64], settings: BladeSettings
) -> NDArray[np.float64]:
    """Velocity of the middle of the blade in the earth frame, zero before the motion, shape (n, 3)."""
    start = levelled.fitted.start
    attitude = levelled.attitude[start:]
    bias = fit.unknowns[:3]
    gravity = levelled.gravity_m_s2 - bias[2]
    pull = np.einsum("nij,nj->ni", attitude, levelled.force[start:] - bias)
    velocity = np.zeros_like(levelled.force)
    velocity[start:] = running_integral(pull - [0.0, 0.0, gravity], levelled.rate_hz)
    swept = levelled.rate[start:] @ cross_matrix(lever_level_m)
    velocity[start:] -= np.einsum("nij,nj->ni", attitude, swept)
    velocity[start:, :2] += wander_m_s(fit, len(attitude), levelled.rate_hz, settings)
    return velocity
