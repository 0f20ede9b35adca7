"""Strapdown: integrate the angular velocity from the quiet stance, trust gravity at rest only."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.frames import left_product, matrix_from_quaternion, quaternion_from_gravity
from imustride.orientation.closing import closing_tilt
from imustride.orientation.increments import mean_rate
from imustride.orientation.slow_gravity import WINDOW_S, applies, slow_tilt
from imustride.orientation.stance import checked, without_bias
from imustride.orientation.tilt import mean_force, without_tilt
from imustride.registry import Filter

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
        With a stance after the stop, the drift that gravity shows there is given back: where gaps were
        bridged, and linearly in time between the stances (`closing`).

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
    Nothing is assumed about the acceleration while the feet move, which is what fails in every filter
    that corrects by gravity: over a few strides from standing the mean acceleration is not gravity, and
    in a bend it never is. Where the feet move for more than a minute the mean over more than a lap
    bounds the drift (`slow_gravity`). The heading drifts freely.
    """
    gyro, force = checked(angular_velocity_rad_s, acceleration_m_s2, rate_hz, rest)
    rate = mean_rate(without_bias(gyro, force, rate_hz, rest), rate_hz)
    quaternion = _integrated(rate, rate_hz)
    start = quaternion_from_gravity(mean_force(quaternion[rest.before], force[rest.before]))
    quaternion = quaternion @ left_product(start).T
    grown_s = np.inf
    if applies(len(force), rate_hz, rest):
        quaternion = without_tilt(quaternion, slow_tilt(quaternion, force, rate_hz, rest))
        grown_s = WINDOW_S / 2
    if rest.after is not None:
        tilt = closing_tilt(quaternion, force, rate_hz, rest, rest.after, grown_s)
        quaternion = without_tilt(quaternion, tilt)
    return matrix_from_quaternion(quaternion)


def _integrated(rate: Floats, rate_hz: float) -> Floats:
    """Return ``first_from_sensor`` quaternions, one exact step a row of `rate`, shape (n, 4)."""
    from vqf import BasicVQF

    # Samples of exactly zero acceleration are left out by the filter: what remains is its integrator.
    return np.asarray(BasicVQF(1 / rate_hz).updateBatch(rate, np.zeros_like(rate))["quat6D"])


FILTER = Filter(
    name="strapdown",
    source="Savage 1998, J. Guid. Control Dyn. 21:19-28 (attitude integration with coning)",
    estimate=estimate,
)
