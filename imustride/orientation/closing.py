"""The tilt that came up between the quiet stance before the start and the one after the stop."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.constants import STANDARD_GRAVITY_M_S2
from imustride.frames import matrix_from_quaternion
from imustride.orientation.tilt import Tilt, mean_force

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# Standard deviations, per axis, that share a tilt at the stop between drift and accelerometer: the
# drift left after the bias is removed, the bias of a calibrated accelerometer, and sway between two
# levellings. Measured on simulated runs (`tests/benchmark/orientation_accuracy.py`, seeds below 1000).
# Only the ratios matter; they are about the same for good and poor sensors.
DRIFT_SD_RAD_S = 0.0008
ACCELEROMETER_SD_M_S2 = 0.12
SWAY_SD_RAD = 0.001


def closing_tilt(
    earth_from_sensor: Floats, force: Floats, rate_hz: float, before: slice, after: slice
) -> Tilt:
    """Return the drift seen in the last stance, growing in time from nothing in the first one.

    Parameters
    ----------
    earth_from_sensor : ndarray, shape (n, 4)
        Unit quaternions, level in the stance before, scalar first.
    force : ndarray, shape (n, 3)
        Specific force in sensor axes [m/s^2].
    rate_hz : float
    before, after : slice
        The quiet stances.

    Returns
    -------
    Tilt
        To be taken away.

    Notes
    -----
    A bias of the accelerometer turns with the sensor: it hides in the first levelling and shows in the
    second one by as much as the attitude changed; after a stop with the feet across by 1.4 times
    itself. Two normal variances share what is seen between drift and bias.
    """
    seen = mean_force(earth_from_sensor[after], force[after])
    change = _mean_attitude(earth_from_sensor[after]) - _mean_attitude(earth_from_sensor[before])
    bias = change[:2] * (ACCELEROMETER_SD_M_S2 / STANDARD_GRAVITY_M_S2)
    drift = np.eye(2) * (DRIFT_SD_RAD_S * (after.start - before.stop) / rate_hz) ** 2
    gain = drift @ np.linalg.inv(drift + bias @ bias.T + np.eye(2) * SWAY_SD_RAD**2)
    last = gain @ seen[:2] / np.linalg.norm(seen)
    return Tilt(np.array([before.stop - 1.0, after.start]), np.array([[0.0, 0.0], last]))


def _mean_attitude(quaternion: Floats) -> Floats:
    """Return the mean matrix of nearly equal attitudes, shape (n, 4) to (3, 3)."""
    return np.asarray(matrix_from_quaternion(quaternion).mean(axis=0))
