"""VQF, offline variant, six axes: the most accurate published filter over long recordings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.frames import matrix_from_quaternion
from imustride.orientation.increments import mean_rate
from imustride.orientation.stance import checked, without_bias
from imustride.registry import Filter

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.orientation.stance import Rest

    Floats = NDArray[np.float64]


def estimate(angular_velocity_rad_s: Floats, acceleration_m_s2: Floats, rate_hz: float, rest: Rest) -> Floats:
    """Return the attitude by the offline variant of VQF with its published parameters.

    Parameters
    ----------
    angular_velocity_rad_s, acceleration_m_s2 : ndarray, shape (n, 3)
        Sensor axes; no NaN.
    rate_hz : float
    rest : Rest

    Returns
    -------
    ndarray, shape (n, 3, 3)
        ``earth_from_sensor``, z up.

    Raises
    ------
    SignalQualityError
        See `stance.checked`.

    Notes
    -----
    Gravity is taken from the acceleration low-passed over 3 s in an almost inertial frame. Over the
    few strides of a sprint start the mean acceleration is not gravity; over minutes it is.
    """
    from vqf import offlineVQF

    gyro, force = checked(angular_velocity_rad_s, acceleration_m_s2, rate_hz, rest)
    rate = mean_rate(without_bias(gyro, force, rate_hz, rest), rate_hz)
    rows = (np.ascontiguousarray(signal) for signal in (rate, force))
    return matrix_from_quaternion(offlineVQF(*rows, None, 1 / rate_hz)["quat6D"])


FILTER = Filter(
    name="vqf",
    source="Laidig and Seel 2023, Information Fusion 91:187-204, doi 10.1016/j.inffus.2022.10.014",
    estimate=estimate,
)
