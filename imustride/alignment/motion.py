"""Find a skate's forward axis from its motion: on the ice a blade moves along itself.

The quiet stance gives the vertical, so one angle is left: the azimuth of the blade's long axis in
the levelled sensor. Strapdown integration from the stance gives the skate's velocity; while the
blade is on the ice that velocity, seen in the skate, lies along the blade and not across it (a
nonholonomic constraint as used for wheeled vehicles, Dissanayake et al. 2001, doi
10.1109/70.964672). A density over azimuth gives a first value, a robust least-squares fit refines
it together with the remaining sensor biases, which spoil the velocity slowly.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import own

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class BladeSettings:
    """Prior spreads and limits of the fit (common practice, no source, unless said)."""

    declared_axes_sd_rad: float = np.radians(10.0)
    accelerometer_bias_sd_m_s2: float = 0.15
    gyro_bias_sd_rad_s: float = 0.003
    lever_sd_m: float = 0.04
    lost_turn_rad_s: float = 0.2  # rate of turn that may go unseen in a gap while nothing moves
    lost_velocity_m_s2: float = 2.0
    lost_share: float = 0.5  # of the turning and the force on both sides of the gap
    beside_gap_s: float = 0.04
    shortest_break_s: float = 0.025
    relevel_s: float = 1.5
    gross_tilt_rad: float = np.radians(25.0)  # a start at 4 m/s^2 looks like 22 degrees
    wander_m_s: float = 0.15  # of the integrated velocity, a second
    knot_s: float = 0.75
    step_s: float = 0.02
    slip_scales_m_s: tuple[float, ...] = (0.9, 0.6, 0.4, 0.3, 0.25, 0.25, 0.25)
    slowest_m_s: float = 1.2
    calm_rate_rad_s: float = np.radians(200.0)
    longest_fit_s: float = 12.0
    fastest_m_s: float = 25.0  # best skaters reach 11 m/s, a foot in recovery twice that at most
    thinning: float = 0.2  # neighbouring samples err together: one in five counts
    starts: int = 4
    default_lever_m: tuple[float, float, float] = (0.0, 0.0, 0.10)


@dataclass(frozen=True, eq=False, slots=True)
class Alignment:
    """How a skate's sensor sits, and how the skate moved.

    Parameters
    ----------
    segment_from_sensor : ndarray, shape (3, 3)
    forward_sd_rad : float
        Standard deviation of the forward axis about the vertical [rad].
    earth_from_segment : ndarray, shape (n, 3, 3)
        Attitude with the fitted biases taken out; earth x is the blade's heading in the stance.
    velocity_m_s : ndarray, shape (n, 3)
        Velocity of the middle of the blade, earth frame [m/s]; zero before the motion.
    known_until_s : float
        End of the fit, own clock [s]; later the horizontal velocity drifts freely.
    """

    segment_from_sensor: NDArray[np.float64]
    forward_sd_rad: float
    earth_from_segment: NDArray[np.float64]
    velocity_m_s: NDArray[np.float64]
    known_until_s: float

    def __post_init__(self) -> None:
        own(self.segment_from_sensor, self.earth_from_segment, self.velocity_m_s)


def turn_about_up(angle_rad: float) -> NDArray[np.float64]:
    """Rotation matrix that takes levelled-sensor vectors to a blade at this azimuth, shape (3, 3)."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])


def running_integral(values: NDArray[np.float64], rate_hz: float) -> NDArray[np.float64]:
    """Integrate along the first axis by the trapezoid rule, zero at the first sample."""
    total = np.zeros_like(values)
    np.cumsum((values[1:] + values[:-1]) * (0.5 / rate_hz), axis=0, out=total[1:])
    return total


@dataclass(frozen=True, eq=False, slots=True)
class Motion:
    """Strapdown motion of a levelled sensor and how it changes with what is not known.

    The unknowns are small: accelerometer bias [m/s^2], gyroscope bias [rad/s], and for every break in
    the record a turn [rad] and a change of velocity [m/s] that went unseen; x, y, z each.

    Parameters
    ----------
    earth_from_level : ndarray, shape (n, 3, 3)
    rate_rad_s : ndarray, shape (n, 3)
        Angular velocity, levelled-sensor axes.
    velocity_m_s : ndarray, shape (n, 3)
        Of the sensor, earth frame.
    velocity_by : ndarray, shape (n, 3, unknowns)
    attitude_by : ndarray, shape (n, 3, unknowns)
        Small earth-frame rotation per unit.
    spread : ndarray, shape (unknowns,)
        Standard deviation of each unknown before the fit.
    """

    earth_from_level: NDArray[np.float64]
    rate_rad_s: NDArray[np.float64]
    velocity_m_s: NDArray[np.float64]
    velocity_by: NDArray[np.float64]
    attitude_by: NDArray[np.float64]
    spread: NDArray[np.float64]


def strapdown(
    acceleration_m_s2: NDArray[np.float64],
    rate_rad_s: NDArray[np.float64],
    earth_from_level: NDArray[np.float64],
    gravity_m_s2: float,
    rate_hz: float,
    breaks: NDArray[np.int64],
    settings: BladeSettings,
) -> Motion:
    """Integrate specific force from rest, thin it, and say how it depends on the unknowns.

    An accelerometer bias tilts the level that the stance gives: both effects cancel at rest and
    come apart as the skate turns.

    Parameters
    ----------
    acceleration_m_s2, rate_rad_s : ndarray, shape (n, 3)
        Levelled-sensor axes; the first sample is at rest.
    earth_from_level : ndarray, shape (n, 3, 3)
    gravity_m_s2, rate_hz : float
    breaks : ndarray of int, shape (b, 2)
        First and last sample of every stretch in which the signals are not known.
    settings : BladeSettings
    """
    force = np.einsum("nij,nj->ni", earth_from_level, acceleration_m_s2)
    velocity = running_integral(force - [0.0, 0.0, gravity_m_s2], rate_hz)
    count = 6 + 6 * len(breaks)
    attitude = np.zeros((len(force), 3, count))
    attitude[:, 1, 0], attitude[:, 0, 1] = 1 / gravity_m_s2, -1 / gravity_m_s2
    attitude[:, :, 3:6] = -running_integral(earth_from_level, rate_hz)
    step = np.zeros((len(force), 3, count))
    spread = [settings.accelerometer_bias_sd_m_s2] * 3 + [settings.gyro_bias_sd_rad_s] * 3
    for k, (begin, end) in enumerate(breaks):
        column = 6 + 6 * k
        attitude[end:, :, column : column + 3] = np.eye(3)
        step[end:, :, column + 3 : column + 6] = np.eye(3)
        lost_s = (end - begin) / rate_hz
        reach = round(settings.beside_gap_s * rate_hz)
        beside = np.r_[max(begin - reach, 0) : begin, end + 1 : min(end + 1 + reach, len(force))]
        turn = np.linalg.norm(rate_rad_s[beside], axis=1).max(initial=0.0)
        pull = np.linalg.norm(force[beside] - [0.0, 0.0, gravity_m_s2], axis=1).max(initial=0.0)
        spread += [(settings.lost_turn_rad_s + settings.lost_share * turn) * lost_s] * 3
        spread += [(settings.lost_velocity_m_s2 + settings.lost_share * pull) * lost_s] * 3
    wrong = np.cross(attitude, force[:, :, None], axisa=1, axisb=1, axisc=1)
    wrong[:, :, :3] -= earth_from_level
    # The stance fixes the vertical component: only what differs from the start counts.
    wrong[:, 2, 2] += 1.0
    by = running_integral(wrong, rate_hz) + step
    every = max(round(settings.step_s * rate_hz), 1)
    keep = slice(None, None, every)
    return Motion(
        earth_from_level[keep],
        block_mean(rate_rad_s, every),
        velocity[keep],
        by[keep],
        attitude[keep],
        np.array(spread),
    )


def block_mean(values: NDArray[np.float64], every: int) -> NDArray[np.float64]:
    """Mean of the values around every `every`-th sample, ends repeated."""
    if every < 2:
        return values
    before = every // 2
    padded = np.concatenate(
        (np.repeat(values[:1], before, axis=0), values, np.repeat(values[-1:], every, axis=0))
    )
    total = np.concatenate((np.zeros((1, values.shape[1])), np.cumsum(padded, axis=0)))
    start = np.arange(0, len(values), every)
    return (total[start + every] - total[start]) / every
