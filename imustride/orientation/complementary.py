"""Complementary filter on roll and pitch, from ahrs; slow (a Python loop), kept for comparison."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.frames import matrix_from_quaternion
from imustride.orientation.stance import checked, without_bias
from imustride.registry import Filter

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.orientation.stance import Rest

    Floats = NDArray[np.float64]


def estimate(angular_velocity_rad_s: Floats, acceleration_m_s2: Floats, rate_hz: float, rest: Rest) -> Floats:
    """Return the attitude by `ahrs.filters.Complementary` with its default gain.

    Parameters
    ----------
    angular_velocity_rad_s, acceleration_m_s2 : ndarray, shape (n, 3)
        Sensor axes; no NaN.
    rate_hz : float
    rest : Rest

    Returns
    -------
    ndarray, shape (n, 3, 3)
        ``earth_from_sensor``, z up; the heading is always zero, so headings, tracks and lengths cannot
        be had from this filter.

    Raises
    ------
    SignalQualityError
        See `stance.checked`.
    """
    from ahrs.filters import Complementary

    gyro, force = checked(angular_velocity_rad_s, acceleration_m_s2, rate_hz, rest)
    rate = without_bias(gyro, force, rate_hz, rest)
    return matrix_from_quaternion(Complementary(gyr=rate, acc=force, frequency=rate_hz).Q)


FILTER = Filter(
    name="complementary",
    source="ahrs.filters.Complementary: angles from the rate and from gravity, mixed by a fixed gain",
    estimate=estimate,
)
