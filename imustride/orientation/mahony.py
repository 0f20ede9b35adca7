"""Mahony's complementary filter on rotations, from ahrs; slow (a Python loop), kept for comparison."""

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
    """Return the attitude by `ahrs.filters.Mahony` with its default gains.

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
    from ahrs.filters import Mahony

    gyro, force = checked(angular_velocity_rad_s, acceleration_m_s2, rate_hz, rest)
    rate = without_bias(gyro, force, rate_hz, rest)
    start = quaternion_from_gravity(force[rest.before].mean(axis=0))
    return matrix_from_quaternion(Mahony(gyr=rate, acc=force, frequency=rate_hz, q0=start).Q)


FILTER = Filter(
    name="mahony",
    source="Mahony, Hamel and Pflimlin 2008, IEEE Trans. Autom. Control 53:1203-1218; ahrs.filters.Mahony",
    estimate=estimate,
)
