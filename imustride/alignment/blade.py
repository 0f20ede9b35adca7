"""Align a skate: level from the quiet stance, forward from the run, velocity from both."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.alignment.forward import fit_forward
from imustride.alignment.motion import Alignment, BladeSettings, running_integral, strapdown, turn_about_up
from imustride.frames import about_vector, level_from_gravity

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.kinematics import Cut
    from imustride.recording import Recording

def declared_azimuth(axes: tuple[str, str, str], level_from_sensor: NDArray[np.float64]) -> float:
    """Azimuth of the declared forward axis in the levelled sensor [rad]."""
    forward = np.zeros(3)
    forward["xyz".index(axes[0][1])] = 1.0 if axes[0][0] == "+" else -1.0
    seen = level_from_sensor @ forward
    return float(np.arctan2(seen[1], seen[0]))


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
    stance = slice(recording.index(cut.stance_s[0]), recording.index(cut.stance_s[1]))
    up = recording.acceleration_m_s2[stance].mean(axis=0)
    gravity = float(np.linalg.norm(up))
    level_from_sensor = level_from_gravity(up)
    heading = earth_from_sensor[stance.stop] @ level_from_sensor.T
    # Turn the earth frame so that it starts out as the levelled sensor's own frame.
    north = turn_about_up(np.arctan2(heading[1, 0], heading[0, 0]))
    earth_from_level = north @ earth_from_sensor @ level_from_sensor.T
    force = recording.acceleration_m_s2 @ level_from_sensor.T
    rate = recording.angular_velocity_rad_s @ level_from_sensor.T
    end = min(recording.index(cut.motion_s[1]), stance.stop + round(settings.longest_fit_s * recording.rate_hz))
    piece = slice(stance.stop, end + 1)
    breaks = broken(recording, piece, settings)
    axes = recording.sensor.axes
    declared = None if axes is None else declared_azimuth(axes, level_from_sensor)
    lever = recording.sensor.position_m or settings.default_lever_m
    earth_from_level = relevelled(
        earth_from_level, force, breaks + stance.stop, round(settings.relevel_s * recording.rate_hz), settings
    )
    # The turn lost in a break may be large: a second round starts from the first one's attitude.
    for _ in range(2 if len(breaks) else 1):
        motion = strapdown(
            force[piece], rate[piece], earth_from_level[piece], gravity, recording.rate_hz, breaks, settings
        )
        fit = fit_forward(motion, lever, declared, settings)
        unknowns = fit.unknowns
        if len(breaks):
            earth_from_level = mended(earth_from_level, breaks[:, 1] + stance.stop, unknowns[6:].reshape(-1, 6)[:, :3])
            unknowns = np.where(np.arange(len(unknowns)) < 6, unknowns, 0.0)
    straight = corrected_attitude(earth_from_level, stance.stop, unknowns, gravity, recording.rate_hz)
    bias = unknowns[:3]
    turn = turn_about_up(fit.azimuth_rad)
    lever_level = turn.T @ (np.array(lever) + [fit.lever_m, 0.0, 0.0])
    velocity = blade_velocity_m_s(
        straight, force - bias, rate, stance.stop, gravity - bias[2], recording.rate_hz, lever_level
    )
    for step, at in zip(fit.unknowns[6:].reshape(-1, 6)[:, 3:], breaks[:, 1] + stance.stop, strict=True):
        velocity[at:] += step
    # An accelerometer bias tilts the level found in the stance; the stance itself stays the zero.
    level = straight[stance.stop].T
    return Alignment(
        turn @ level.T @ level_from_sensor,
        fit.azimuth_sd_rad,
        turn @ straight @ level @ turn.T,
        velocity @ turn.T,
    )


def broken(recording: Recording, piece: slice, settings: BladeSettings) -> NDArray[np.int64]:
    """First and last sample, from the start of the piece, of stretches whose turning is not known, shape (b, 2)."""
    unknown = ~recording.measured[piece] | recording.clipped[piece, 1]
    edges = np.flatnonzero(np.diff(np.concatenate(([False], unknown, [False])).astype(np.int8))).reshape(-1, 2)
    long = (edges[:, 1] - edges[:, 0]) / recording.rate_hz > settings.shortest_break_s
    return np.asarray(edges[long] - [0, 1])


def relevelled(
    earth_from_level: NDArray[np.float64],
    force: NDArray[np.float64],
    breaks: NDArray[np.int64],
    span: int,
    settings: BladeSettings,
) -> NDArray[np.float64]:
    """Undo gross tilts lost in breaks: over a stride or two the mean specific force points up."""
    out = earth_from_level.copy()
    for k, (_, end) in enumerate(breaks):
        until = min(end + span, breaks[k + 1, 0] if k + 1 < len(breaks) else len(out))
        if until - end < span // 3:
            continue
        mean = np.einsum("nij,nj->i", out[end:until], force[end:until])
        tilt = float(np.arctan2(np.hypot(mean[0], mean[1]), mean[2]))
        if tilt > settings.gross_tilt_rad:
            axis = np.array([mean[1], -mean[0], 0.0]) / np.hypot(mean[0], mean[1])
            out[end:] = about_vector(tilt * axis) @ out[end:]
    return out


def mended(
    earth_from_level: NDArray[np.float64], at: NDArray[np.int64], turns_rad: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Put the turns that were lost in breaks back into the attitude, from each break on."""
    out = earth_from_level.copy()
    for begin, turn_rad in zip(at, turns_rad, strict=True):
        out[begin:] = about_vector(turn_rad) @ out[begin:]
    return out


def corrected_attitude(
    earth_from_level: NDArray[np.float64],
    start: int,
    unknowns: NDArray[np.float64],
    gravity_m_s2: float,
    rate_hz: float,
) -> NDArray[np.float64]:
    """Take the fitted biases out of the attitude; small angles, shape (n, 3, 3)."""
    turned = running_integral(earth_from_level[start:] @ unknowns[3:6], rate_hz)
    rotation = np.zeros((len(earth_from_level), 3))
    rotation[start:] = -turned
    rotation += np.array([-unknowns[1], unknowns[0], 0.0]) / gravity_m_s2
    cross = np.zeros((len(rotation), 3, 3))
    cross[:, 0, 1], cross[:, 0, 2], cross[:, 1, 2] = -rotation[:, 2], rotation[:, 1], -rotation[:, 0]
    cross[:, 1, 0], cross[:, 2, 0], cross[:, 2, 1] = rotation[:, 2], -rotation[:, 1], rotation[:, 0]
    return earth_from_level + cross @ earth_from_level


def blade_velocity_m_s(
    earth_from_level: NDArray[np.float64],
    force: NDArray[np.float64],
    rate: NDArray[np.float64],
    start: int,
    gravity_m_s2: float,
    rate_hz: float,
    lever_level_m: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Velocity of the middle of the blade in the earth frame, zero before `start` [m/s]."""
    piece = earth_from_level[start:]
    pull = np.einsum("nij,nj->ni", piece, force[start:])
    velocity = np.zeros_like(force)
    velocity[start:] = running_integral(pull - [0.0, 0.0, gravity_m_s2], rate_hz)
    velocity[start:] -= np.einsum("nij,nj->ni", piece, np.cross(rate[start:], lever_level_m))
    return velocity
