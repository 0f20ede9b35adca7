"""Strapdown: integrate the angular velocity from the quiet stance, trust gravity at rest only."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.constants import STANDARD_GRAVITY_M_S2
from imustride.frames import left_product, matrix_from_quaternion, quaternion_from_gravity
from imustride.orientation.increments import mean_rate
from imustride.orientation.stance import checked, without_bias
from imustride.registry import Filter

# Standard deviations, per axis, that share a tilt error at the stop between drift and accelerometer.
# Measured on simulated runs (`tests/benchmark/orientation_accuracy.py`, seeds from 1000): the drift left
# after the bias is removed; a calibrated sensor's bias; sway between two levellings. Only the ratios
# matter, and they are about the same for good and poor sensors.
DRIFT_SD_RAD_S = 0.0008
ACCELEROMETER_SD_M_S2 = 0.12
SWAY_SD_RAD = 0.001

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.orientation.stance import Rest

    Floats = NDArray[np.float64]


def estimate(angular_velocity_rad_s: Floats, acceleration_m_s2: Floats, rate_hz: float, rest: Rest) -> Floats:
    """Return the attitude by integration from the quiet stance before the start.

    Parameters
    ----------
    angular_velocity_rad_s, acceleration_m_s2 : ndarray, shape (n, 3)
        Sensor axes; no NaN.
    rate_hz : float
    rest : Rest
        With a stance after the stop, the drift seen there by gravity is given back linearly in time
        over the span between the stances.

    Returns
    -------
    ndarray, shape (n, 3, 3)
        ``earth_from_sensor``; z up; the heading is that of the smallest turn that levels the stance.

    Raises
    ------
    SignalQualityError
        See `stance.checked`.

    Notes
    -----
    No assumption about the acceleration while the feet move, which is what fails in every filter
    that corrects by gravity. Made for runs: without a stance at the end the tilt error grows with the
    bias left over from the stance and with the gyroscope's scale error.
    """
    gyro, force = checked(angular_velocity_rad_s, acceleration_m_s2, rate_hz, rest)
    rate = mean_rate(without_bias(gyro, force, rate_hz, rest), rate_hz)
    quaternion = _integrated(rate, rate_hz)
    start = quaternion_from_gravity(_up(quaternion, force, rest.before))
    quaternion = quaternion @ left_product(start).T
    if rest.after is not None:
        quaternion = _closed(quaternion, force, rate_hz, rest, rest.after)
    return matrix_from_quaternion(quaternion)


def _integrated(rate: Floats, rate_hz: float) -> Floats:
    """Return ``first_from_sensor`` quaternions, one exact step a row of `rate`, shape (n, 4)."""
    from vqf import BasicVQF

    # Samples of exactly zero acceleration are left out by the filter: what remains is its integrator.
    return np.asarray(BasicVQF(1 / rate_hz).updateBatch(rate, np.zeros_like(rate))["quat6D"])


def _up(quaternion: Floats, force: Floats, span: slice) -> Floats:
    """Return the mean specific force of a stance in the frame the quaternions lead to, shape (3,)."""
    turned = matrix_from_quaternion(quaternion[span]) @ force[span, :, np.newaxis]
    return np.asarray(turned.mean(axis=0)[:, 0])


def _closed(quaternion: Floats, force: Floats, rate_hz: float, rest: Rest, after: slice) -> Floats:
    """Give the drift seen in the last stance back, growing from nothing at the end of the first one."""
    seen = _up(quaternion, force, after)
    drift = _drift_share(quaternion, rate_hz, rest.before, after) @ seen[:2] / np.linalg.norm(seen)
    angle = float(np.hypot(*drift))
    if angle == 0:
        return quaternion
    x, y = drift / angle
    share = np.interp(np.arange(len(quaternion)), [rest.before.stop - 1, after.start], [0.0, 0.5])
    half_angle = share[:, np.newaxis] * np.arcsin(min(angle, 1.0))
    about = left_product(np.array([0.0, y, -x, 0.0]))
    return np.asarray(np.cos(half_angle) * quaternion + np.sin(half_angle) * (quaternion @ about.T))


def _drift_share(quaternion: Floats, rate_hz: float, before: slice, after: slice) -> Floats:
    """Return the part of a tilt error that is drift rather than bias of the accelerometer, shape (2, 2).

    Notes
    -----
    The bias turns with the sensor: it hides in the first levelling and shows in the second one by as
    much as the attitude changed, after a stop with the feet across by 1.4 times itself. Two normal
    variances share the error between them.
    """
    change = _mean_attitude(quaternion[after]) - _mean_attitude(quaternion[before])
    bias = change[:2] * (ACCELEROMETER_SD_M_S2 / STANDARD_GRAVITY_M_S2)
    drift_rad = DRIFT_SD_RAD_S * (after.start - before.stop) / rate_hz
    drift = np.eye(2) * drift_rad**2
    return np.asarray(drift @ np.linalg.inv(drift + bias @ bias.T + np.eye(2) * SWAY_SD_RAD**2))


def _mean_attitude(quaternion: Floats) -> Floats:
    """Return the mean matrix of nearly equal attitudes, shape (n, 4) to (3, 3)."""
    return np.asarray(matrix_from_quaternion(quaternion).mean(axis=0))


FILTER = Filter(
    name="strapdown",
    source="Savage 1998, J. Guid. Control Dyn. 21:19-28 (attitude integration with coning)",
    estimate=estimate,
)
