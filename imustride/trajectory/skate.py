"""One skate's dead-reckoned path and how it changes with what is not known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.frames import about_z
from imustride.trajectory.losses import losses

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.kinematics import Clock, Kinematics
    from imustride.trajectory.losses import Losses
    from imustride.trajectory.settings import TrackSettings

YAW, LEVER, MOUNT, ROLL, HEIGHT, ROCKER = range(6)
ACCELEROMETER, GYRO = slice(6, 9), slice(9, 12)
START = slice(12, 14)
WANDER = 14


@dataclass(frozen=True, eq=False, slots=True)
class Course:
    """A skate's horizontal motion at nodes, and its derivatives by the skate's unknowns.

    Unknowns, in order: turn of the whole path about the vertical [rad], fore-aft place of the ice
    contact [m], turn of the sensor on the blade about its vertical [rad], roll of the blade in the stance [rad],
    height of the sensor above the running edge [m], radius of the rocker [m], accelerometer bias [m/s^2] (3), gyroscope bias [rad/s] (3), place at the start [m] (2), and
    steps of a slow wander of the velocity [m/s], x then y, and jumps where samples were lost (see `Losses`).

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Nodes on the reference clock [s].
    position_m, velocity_m_s : ndarray, shape (n, 2)
        Middle of the blade, lane frame (x along, y left).
    position_by, velocity_by : ndarray, shape (n, 2, unknowns)
    slip_m_s : ndarray, shape (n,)
        Velocity of the contact point across the blade.
    slip_by : ndarray, shape (n, unknowns)
    lane_yaw_rad : float
        Turn from the kinematics' earth frame to the lane, first guess.
    heading_by : ndarray, shape (n, unknowns)
        Turn of the blade's running direction per unit.
    spread : ndarray, shape (unknowns,)
        Standard deviation of each unknown before the fit.
    wander : slice
        Which unknowns are steps of the wander.
    """

    time_s: NDArray[np.float64]
    position_m: NDArray[np.float64]
    velocity_m_s: NDArray[np.float64]
    position_by: NDArray[np.float64]
    velocity_by: NDArray[np.float64]
    slip_m_s: NDArray[np.float64]
    slip_by: NDArray[np.float64]
    lane_yaw_rad: float
    heading_by: NDArray[np.float64]
    spread: NDArray[np.float64]
    wander: slice


def running_integral(values: NDArray[np.float64], step_s: float) -> NDArray[np.float64]:
    """Integrate along the first axis by the trapezoid rule, zero at the first row."""
    total = np.zeros_like(values)
    np.cumsum((values[1:] + values[:-1]) * (0.5 * step_s), axis=0, out=total[1:])
    return total


def course(
    kinematics: Kinematics,
    clock: Clock,
    span_s: tuple[float, float],
    lane_yaw_rad: float,
    start_m: tuple[float, float],
    settings: TrackSettings,
) -> Course:
    """Lay a skate's motion into the lane frame and differentiate it.

    Parameters
    ----------
    kinematics : Kinematics
        Aligned, with a first velocity.
    clock : Clock
        To the reference clock.
    span_s : tuple
        From standing to the end, own clock [s].
    lane_yaw_rad : float
        Turn that takes the kinematics' earth frame to the lane, first guess.
    start_m : tuple
        Place of the middle of the blade in the stance, lane frame [m].
    settings : TrackSettings
    """
    every = max(round(settings.step_s * kinematics.rate_hz), 1)
    first, last = (round((at - kinematics.start_s) * kinematics.rate_hz) for at in span_s)
    nodes = slice(max(first, 0), min(last, len(kinematics.measured) - 1) + 1, every)
    step_s = every / kinematics.rate_hz
    lost = losses(kinematics, nodes, settings)
    turn = about_z(lane_yaw_rad)
    attitude = turn @ kinematics.earth_from_segment[nodes]
    velocity = (unaided_velocity(kinematics, slice(nodes.start, nodes.stop), settings) @ turn.T)[::every]
    force = np.einsum("nij,nj->ni", attitude, block_mean(kinematics.acceleration_m_s2, nodes, every))
    rate = block_mean(kinematics.angular_velocity_rad_s, nodes, every)
    by, turned = effects((attitude, velocity, rate), force, lost, step_s, settings)
    position_by = running_integral(by[:, :2], step_s)
    position_by[:, 0, START.start] = position_by[:, 1, START.start + 1] = 1.0
    radius_m = kinematics.rocker_radius_m or settings.rocker_radius_m
    slip, slip_by, heading_by = across_blade((attitude, velocity, rate), by, turned, radius_m, settings)
    wander = by.shape[2] - WANDER - lost.unknowns
    spread = spread_of(kinematics, wander, lost, settings)
    time = kinematics.start_s + np.arange(nodes.start, nodes.stop, every) / kinematics.rate_hz
    return Course(
        np.asarray(clock.reference(time)),
        np.array(start_m) + running_integral(velocity[:, :2], step_s),
        velocity[:, :2],
        position_by,
        by[:, :2],
        slip,
        slip_by,
        lane_yaw_rad,
        heading_by,
        spread,
        slice(WANDER, WANDER + wander),
    )


def spread_of(
    kinematics: Kinematics, wander: int, lost: Losses, settings: TrackSettings
) -> NDArray[np.float64]:
    """Return the standard deviation of each unknown before the fit, shape (unknowns,)."""
    return np.concatenate((
        [settings.yaw_sd_rad, settings.lever_sd_m, max(kinematics.forward_sd_rad, settings.mount_sd_rad)],
        [settings.roll_sd_rad],
        [settings.height_sd_m if kinematics.position_m is None else settings.measured_height_sd_m],
        [settings.rocker_radius_sd_m if kinematics.rocker_radius_m is None else settings.measured_rocker_radius_sd_m],
        [settings.accelerometer_bias_sd_m_s2] * 3,
        [settings.gyro_bias_sd_rad_s] * 3,
        settings.start_sd_m,
        [settings.wander_m_s * np.sqrt(settings.knot_s)] * wander,
        lost.spread(settings),
    ))  # fmt: skip


def effects(
    moved: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
    force: NDArray[np.float64],
    lost: Losses,
    step_s: float,
    settings: TrackSettings,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What each unknown does to the velocity and to the attitude (small rotation), shape (n, 3, unknowns).

    `moved` holds attitude (n, 3, 3), velocity (n, 3) and angular velocity (n, 3, segment axes).
    """
    attitude, velocity, rate = moved
    knots = max(int(np.ceil((len(force) - 1) * step_s / settings.knot_s)), 1)
    jumps = WANDER + 2 * knots
    turned = np.zeros((len(force), 3, jumps + lost.unknowns))
    turned[:, 2, YAW] = 1.0
    behind = np.arange(len(force))[:, None] >= lost.node
    turns = jumps + 2 * len(lost.node)
    for axis in range(3):
        turned[:, axis, turns + axis :: 3] = behind[:, lost.turns]
    gravity = float(np.linalg.norm(force[:3].mean(axis=0)))
    # A bias of the accelerometer tilts the level found in the stance.
    turned[:, 1, ACCELEROMETER.start] = 1 / gravity
    turned[:, 0, ACCELEROMETER.start + 1] = -1 / gravity
    turned[:, :, GYRO] = -running_integral(attitude, step_s)
    wrong = np.cross(turned, force[:, :, None], axisa=1, axisb=1, axisc=1)
    wrong[:, :, YAW] = 0.0
    wrong[:, :, ACCELEROMETER] -= attitude
    by = running_integral(wrong, step_s)
    by[:, 0, YAW], by[:, 1, YAW] = -velocity[:, 1], velocity[:, 0]
    # The middle of the edge lies a height below the sensor: v = v_sensor - w x r.
    by[:, :, HEIGHT] = -np.einsum("nij,nj->ni", attitude, np.cross(rate, [0.0, 0.0, 1.0]))
    ramp = np.clip(np.arange(len(force))[:, None] * step_s / settings.knot_s - np.arange(knots), 0.0, 1.0)
    by[:, 0, WANDER : WANDER + knots] = ramp
    by[:, 1, WANDER + knots : jumps] = ramp
    by[:, 0, jumps:turns:2] = by[:, 1, jumps + 1 : turns : 2] = behind
    return by, turned


def across_blade(
    moved: tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]],
    by: NDArray[np.float64],
    turned: NDArray[np.float64],
    rocker_radius_m: float,
    settings: TrackSettings,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Slip of the contact point [m/s], and what each unknown does to it and to the running direction.

    `moved` holds attitude (n, 3, 3), velocity (n, 3) and angular velocity (n, 3, segment axes).
    """
    attitude, velocity, rate = moved
    across, upright = attitude[:, :, 1], attitude[:, :, 2]
    pitch = -np.arcsin(np.clip(attitude[:, 2, 0], -1, 1))
    place = np.clip(rocker_radius_m * pitch, -settings.half_blade_m, settings.half_blade_m)
    slip = np.einsum("ni,ni->n", velocity, across) + place * rate[:, 2]
    slip_by = np.einsum("ni,nik->nk", across, by) + np.einsum(
        "ni,nik->nk", velocity, np.cross(turned, across[:, :, None], axisa=1, axisb=1, axisc=1)
    )
    slip_by[:, YAW] = 0.0
    slip_by[:, LEVER] = rate[:, 2]
    slip_by[:, ROCKER] = np.where(np.abs(place) < settings.half_blade_m, pitch, 0.0) * rate[:, 2]
    slip_by[:, MOUNT] = -np.einsum("ni,ni->n", velocity, attitude[:, :, 0])
    # Nobody stands on upright blades: the unseen roll of the stance turns y towards z.
    slip_by[:, ROLL] = np.einsum("ni,ni->n", velocity, upright)
    # The running direction is y laid level: what moves y sideways turns it the more, the flatter the blade lies.
    moves = np.cross(turned, across[:, :, None], axisa=1, axisb=1, axisc=1)
    moves[:, :, MOUNT] = -attitude[:, :, 0]
    moves[:, :, ROLL] = upright
    level = across[:, 0] ** 2 + across[:, 1] ** 2
    heading_by = (across[:, :1] * moves[:, 1] - across[:, 1:2] * moves[:, 0]) / level[:, None]
    return slip, slip_by, heading_by


def unaided_velocity(kinematics: Kinematics, piece: slice, settings: TrackSettings) -> NDArray[np.float64]:
    """Velocity of the middle of the blade from the sensor alone, zero at the first sample, shape (n, 3).

    Where the record has gaps the velocity found in the alignment is taken, which bridges them.
    """
    if not kinematics.measured[piece].all():
        return kinematics.velocity_m_s[piece]
    attitude = kinematics.earth_from_segment[piece]
    before = slice(max(piece.start - round(settings.rest_s * kinematics.rate_hz), 0), piece.start + 1)
    rest = kinematics.acceleration_m_s2[before].mean(axis=0)
    # Upright in the stance by definition: what points sideways there is the sensor's bias.
    bias = np.array([rest[0], rest[1], 0.0])
    force = np.einsum("nij,nj->ni", attitude, kinematics.acceleration_m_s2[piece] - bias)
    force[:, 2] -= rest[2]
    lever = np.array(kinematics.position_m or settings.default_lever_m)
    swept = np.cross(kinematics.angular_velocity_rad_s[piece], lever)
    return np.asarray(
        running_integral(force, 1 / kinematics.rate_hz) - np.einsum("nij,nj->ni", attitude, swept)
    )


def block_mean(values: NDArray[np.float64], nodes: slice, every: int) -> NDArray[np.float64]:
    """Mean of `every` samples around each node, shape (nodes, axes)."""
    total = np.concatenate((np.zeros((1, values.shape[1])), np.cumsum(values, axis=0)))
    at = np.arange(nodes.start, nodes.stop, every)
    low, high = np.maximum(at - every // 2, 0), np.minimum(at - every // 2 + every, len(values))
    return np.asarray((total[high] - total[low]) / (high - low)[:, None])
