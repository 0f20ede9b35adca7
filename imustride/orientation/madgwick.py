"""Madgwick's gradient filter, from ahrs; slow (a Python loop), kept for comparison."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.frames import matrix_from_quaternion, quaternion_from_gravity
from imustride.orientation.stance import checked, without_bias
from imustride.registry import Filter

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.orientation.stance import Rest

    Floats = NDArray[np.float64]


def estimate(angular_velocity_rad_s: Floats, acceleration_m_s2: Floats, rate_hz: float, rest: Rest) -> Floats:
    """Return the attitude by `ahrs.filters.Madgwick` with its default gain.

    Parameters
    ----------
    angular_velocity_rad_s, acceleration_m_s2 : ndarray, shape (n, 3)
        Sensor axes; no NaN.
    rate_hz : float
    rest : Rest

    Returns
    -------
    ndarray, shape (n, 3, 3)
        ``earth_from_sensor``, z up; half a sample early, as the filter takes each rate for the whole
        step before it.

    Raises
    ------
    SignalQualityError
        See `stance.checked`.
    """
    from ahrs.filters import Madgwick

    gyro, force = checked(angular_velocity_rad_s, acceleration_m_s2, rate_hz, rest)
    rate = without_bias(gyro, force, rate_hz, rest)
    start = quaternion_from_gravity(force[rest.before].mean(axis=0))
    return matrix_from_quaternion(Madgwick(gyr=rate, acc=force, frequency=rate_hz, q0=start).Q)


FILTER = Filter(
    name="madgwick",
    source="Madgwick, Harrison and Vaidyanathan 2011, IEEE ICORR; ahrs.filters.Madgwick",
    estimate=estimate,
)
