"""The tilt that came up between the quiet stance before the start and the one after the stop."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.constants import STANDARD_GRAVITY_M_S2
from imustride.frames import matrix_from_quaternion
from imustride.orientation.tilt import Tilt, lean, mean_force

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.orientation.stance import Rest

    Floats = NDArray[np.float64]

# Standard deviations, per axis, that share a tilt at the stop between drift and accelerometer: the
# drift left after the bias is removed, the bias of a calibrated accelerometer, and sway between two
# levellings. Measured on simulated runs (`tests/benchmark/orientation_accuracy.py`, seeds below 1000).
# Only the ratios matter; they are about the same for good and poor sensors.
DRIFT_SD_RAD_S = 0.0008
ACCELEROMETER_SD_M_S2 = 0.12
SWAY_SD_RAD = 0.001
# Angular acceleration in a gap, as far as a straight line through it misses it.
GAP_SD_RAD_S2 = 5.0


def closing_tilt(
    earth_from_sensor: Floats,
    force: Floats,
    rate_hz: float,
    rest: Rest,
    after: slice,
    grown_s: float = np.inf,
) -> Tilt:
    """Return the drift seen in the last stance, growing from nothing in the first one.

    Parameters
    ----------
    earth_from_sensor : ndarray, shape (n, 4)
        Unit quaternions, level in the stance before, scalar first.
    force : ndarray, shape (n, 3)
        Specific force in sensor axes [m/s^2].
    rate_hz : float
    rest : Rest
    after : slice
        The quiet stance after the stop.
    grown_s : float, optional
        Time before the last stance in which the drift grew [s]; all of the motion if not given.

    Returns
    -------
    Tilt
        To be taken away.

    Notes
    -----
    Three causes, as normal variances, share what is seen. A bias of the gyroscope grows in time. A gap
    that was bridged by a straight line is off by its curvature, which grows with the square of its
    length. A bias of the accelerometer turns with the sensor: it hides in the first levelling and shows
    in the second one by as much as the attitude changed, after a stop with the feet across by 1.4
    times itself; that part is no drift and stays.
    """
    seen = mean_force(earth_from_sensor[after], force[after])
    change = _mean_attitude(earth_from_sensor[after]) - _mean_attitude(earth_from_sensor[rest.before])
    bias = change[:2] * (ACCELEROMETER_SD_M_S2 / STANDARD_GRAVITY_M_S2)
    sample, variance = _drift_variance(rest, after, rate_hz, grown_s)
    drift = np.eye(2) * variance[-1]
    gain = drift @ np.linalg.inv(drift + bias @ bias.T + np.eye(2) * SWAY_SD_RAD**2)
    last = gain @ lean(seen[np.newaxis])[0]
    return Tilt(sample, np.outer(variance / variance[-1], last))


def _drift_variance(rest: Rest, after: slice, rate_hz: float, grown_s: float) -> tuple[Floats, Floats]:
    """Return samples (k,) between the stances and the variance [rad^2] that built up until each."""
    begin, end = rest.before.stop - 1, after.start
    begin = max(begin, end - round(min(grown_s * rate_hz, end)))
    guessed = np.zeros(end - begin + 1, dtype=np.int8)
    if rest.guessed is not None:
        guessed[1:-1] = rest.guessed[begin + 1 : end]
    edges = np.diff(guessed)
    starts, stops = np.flatnonzero(edges > 0), np.flatnonzero(edges < 0) + 1
    gap_variance = (GAP_SD_RAD_S2 * ((stops - starts) / rate_hz) ** 2) ** 2
    sample = np.concatenate([[0], np.column_stack([starts, stops]).ravel(), [end - begin]])
    jumps = np.concatenate([[0.0], np.column_stack([0 * gap_variance, gap_variance]).ravel(), [0.0]])
    time_variance = (DRIFT_SD_RAD_S * (end - begin) / rate_hz) ** 2
    return begin + sample.astype(float), time_variance * sample / sample[-1] + np.cumsum(jumps)


def _mean_attitude(quaternion: Floats) -> Floats:
    """Return the mean matrix of nearly equal attitudes, shape (n, 4) to (3, 3)."""
    return np.asarray(matrix_from_quaternion(quaternion).mean(axis=0))
