"""Strapdown: integrate the angular velocity from the quiet stance, trust gravity at rest only."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.frames import left_product, matrix_from_quaternion, quaternion_from_gravity
from imustride.orientation.closing import closing_tilt
from imustride.orientation.increments import mean_rate_in
from imustride.orientation.slow_gravity import WINDOW_S, applies, slow_tilt
from imustride.orientation.stance import bias_of, checked
from imustride.orientation.tilt import mean_force, take_away
from imustride.recording import pieces
from imustride.registry import Filter

if TYPE_CHECKING:
    from collections.abc import Iterable

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
    bias = bias_of(gyro, force, rate_hz, rest)
    rates = (mean_rate_in(gyro, bias, rate_hz, piece) for piece in pieces(len(gyro)))
    quaternion = _integrated(rates, len(gyro), rate_hz)
    start = quaternion_from_gravity(mean_force(quaternion[rest.before], force[rest.before]))
    for piece in pieces(len(gyro)):
        quaternion[piece] = quaternion[piece] @ left_product(start).T
    grown_s = np.inf
    if applies(len(force), rate_hz, rest):
        take_away(slow_tilt(quaternion, force, rate_hz, rest), quaternion)
        grown_s = WINDOW_S / 2
    if rest.after is not None:
        take_away(closing_tilt(quaternion, force, rate_hz, rest, rest.after, grown_s), quaternion)
    return matrix_from_quaternion(quaternion)


def _integrated(rates: Iterable[Floats], count: int, rate_hz: float) -> Floats:
    """Return ``first_from_sensor`` quaternions, one exact step a row of `rates`, shape (count, 4).

    Parameters
    ----------
    rates : iterable of ndarray, shape (samples, 3)
        Rates [rad/s] of consecutive pieces, `count` rows in all.
    count : int
    rate_hz : float
    """
    from vqf import BasicVQF

    integrator = BasicVQF(1 / rate_hz)
    quaternion, done = np.empty((4, count)), 0
    for rate in rates:
        # Samples of exactly zero acceleration are left out by the filter: what remains is its integrator.
        found = integrator.updateBatch(np.ascontiguousarray(rate), np.zeros((len(rate), 3)))["quat6D"]
        quaternion[:, done : done + len(rate)] = found.T
        done += len(rate)
    return quaternion.T


FILTER = Filter(
    name="strapdown",
    source="Savage 1998, J. Guid. Control Dyn. 21:19-28 (attitude integration with coning)",
    estimate=estimate,
)
