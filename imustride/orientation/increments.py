"""From samples of the angular velocity to the turn between them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.orientation.stance import Bias

    Floats = NDArray[np.float64]


def mean_rate(gyro: Floats, rate_hz: float) -> Floats:
    """Return the constant rate that turns the sensor from each sample to the next as it really did.

    Parameters
    ----------
    gyro : ndarray, shape (n, 3)
        Angular velocity [rad/s] in sensor axes at the instants of the samples.
    rate_hz : float

    Returns
    -------
    ndarray, shape (n, 3)
        Row i is the turn from sample i - 1 to sample i times the rate [rad/s]; row 0 is zero. An
        integrator that takes one step a row is then right at the samples, not half a step late.

    Notes
    -----
    Turn = integral of the rate + coning. The integral is that of the cubic through four samples,
    ``(-w0 + 13 w1 + 13 w2 - w3) / 24`` (a trapezoid loses 3 % of a 10 Hz motion at 100 Hz; at the two
    ends a trapezoid is all there is); coning is that of a line through two, ``w1 x w2 / 12`` times the
    step (Bortz 1971, IEEE Trans. Aerosp. Electron. Syst. AES-7:61-66, first term of his series).
    """
    mean = np.zeros_like(gyro)
    if len(gyro) < 2:
        return mean
    np.add(gyro[1:], gyro[:-1], out=mean[1:])
    inner = mean[2:-1]
    inner *= 13 / 12
    inner -= (gyro[:-3] + gyro[3:]) / 12
    mean *= 0.5
    step_s = 1 / rate_hz
    before, after = gyro[:-1].T, gyro[1:].T
    for axis in range(3):
        one, two = (axis + 1) % 3, (axis + 2) % 3
        mean[1:, axis] += (before[one] * after[two] - before[two] * after[one]) * (step_s / 12)
    return mean


def mean_rate_in(gyro: Floats, bias: Bias, rate_hz: float, piece: slice) -> Floats:
    """Return some rows of `mean_rate` of a signal without its bias, shape (samples, 3)."""
    wide = slice(max(piece.start - 2, 0), min(piece.stop + 1, len(gyro)))
    found = mean_rate(gyro[wide] - bias.at(wide), rate_hz)
    return found[piece.start - wide.start : piece.stop - wide.start]
