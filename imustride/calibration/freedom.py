"""How far an Allan deviation can be trusted: kinds of noise, degrees of freedom, confidence limits."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

CONFIDENCE = 0.95
# Slopes are taken over so many points on either side: 0.4 of a decade at ten points a decade.
REACH = 2
# Above so many steps a cluster the limit of continuous sampling holds for white noise and noises that wander
# more (Greenhall and Riley 2003, case F > 100).
MANY = 100


def noise_exponents(averages: NDArray[np.intp], variance: NDArray[np.float64]) -> NDArray[np.intp]:
    """Tell the kind of noise at every averaging time from the slope of the Allan variance there.

    Parameters
    ----------
    averages : ndarray of int, shape (n,)
    variance : ndarray, shape (n, k)

    Returns
    -------
    ndarray of int, shape (n, k)
        2 (slope -2), 0 (slope -1, white), -1 (slope 0, flicker) or -2 (slope 1 and more, random walk).
        A slope of -2 behind a flatter one is chance: noise that falls so fast rules short times only.
    """
    slope = local_slopes(averages, variance)
    kinds = np.select([slope < -1.5, slope < -0.5, slope < 0.5], [2, 0, -1], default=-2)
    leading = np.logical_and.accumulate(kinds == 2, axis=0)
    return np.where((kinds == 2) & ~leading, 0, kinds).astype(np.intp)


def local_slopes(averages: NDArray[np.intp], variance: NDArray[np.float64]) -> NDArray[np.float64]:
    """Slopes of the variance on logarithmic scales, shape (n, k): straight lines through `REACH` neighbours."""
    if len(averages) < 2:
        return np.full(variance.shape, -1.0)
    x = np.log(averages.astype(np.float64))
    y = np.log(np.maximum(variance, np.finfo(np.float64).tiny))
    slopes = np.empty_like(y)
    for place in range(len(x)):
        near = slice(max(0, place - REACH), place + REACH + 1)
        centred = x[near] - x[near].mean()
        slopes[place] = centred @ y[near] / (centred @ centred)
    return slopes


def degrees_of_freedom(exponent: int, average: int, count: int, starts: int) -> float:
    """Equivalent degrees of freedom of an overlapping Allan variance.

    Parameters
    ----------
    exponent : int
        Of the power spectrum of the noise, 2 to -2.
    average : int
        Samples in a cluster.
    count : int
        Samples in the series.
    starts : int
        Clusters that begin within the length of one; `average` where every sample begins one.

    References
    ----------
    Greenhall and Riley, Uncertainty of stability variances based on finite differences, Proc. 35th PTTI (2003):
    the sum of equation 7 itself, without its approximations; NIST SP 1065, section 5.4.1.
    """
    if exponent <= 0:
        starts = min(starts, MANY)
    pairs = 1 + starts * (count - 2 * average) // average
    if pairs < 1:
        return 0.0
    reach = min(pairs, 3 * starts)
    lag = np.arange(reach + 1)
    correlation = _second(lag / starts, average, exponent) ** 2
    weight = 2.0 * (1 - lag / pairs)
    weight[0], weight[-1] = 1.0, 1 - reach / pairs
    return float(pairs * correlation[0] / (weight @ correlation))


def limits(
    deviation: NDArray[np.float64], freedom: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Ends of the confidence interval of deviations (NIST SP 1065, equation 45), by chi-squared."""
    from scipy.special import gammaincinv

    tail = (1 - CONFIDENCE) / 2
    half = 0.5 * np.maximum(freedom, 1e-3)
    low, high = (deviation * np.sqrt(half / gammaincinv(half, share)) for share in (1 - tail, tail))
    return low, high


def _second(lag: NDArray[np.float64], steps: int, exponent: int) -> NDArray[np.float64]:
    """Covariance of second differences of cluster sums, up to a factor, at lags in cluster lengths."""
    return (
        6 * _averaged(lag, steps, exponent)
        - 4 * _averaged(lag - 1, steps, exponent)
        - 4 * _averaged(lag + 1, steps, exponent)
        + _averaged(lag - 2, steps, exponent)
        + _averaged(lag + 2, steps, exponent)
    )


def _averaged(lag: NDArray[np.float64], steps: int, exponent: int) -> NDArray[np.float64]:
    if steps > MANY and exponent <= 0:
        return _covariance(lag, exponent + 2)
    near = _covariance(lag - 1 / steps, exponent) + _covariance(lag + 1 / steps, exponent)
    return steps**2 * (2 * _covariance(lag, exponent) - near)


def _covariance(lag: NDArray[np.float64], exponent: int) -> NDArray[np.float64]:
    """Size of the generalised autocovariance of the integrated noise (table 1 of the source)."""
    size = np.abs(lag)
    logarithm = 1.0 if exponent % 2 == 0 else np.log(np.where(size > 0, size, 1.0))
    return size ** (3 - exponent) * logarithm
