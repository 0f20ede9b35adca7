"""The kinds of noise behind an Allan deviation, fitted to its curve."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration.freedom import local_slopes

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.calibration.allan import AllanCurve

# Allan variance of each kind of noise with coefficient 1, as factor and power of the averaging time
# (IEEE Std 952, annex C): quantisation Q, noise density N, flicker B, rate random walk K, rate ramp R.
TERMS = {
    "quantisation": (3.0, -2),
    "noise_density": (1.0, -1),
    "flicker": (2 * np.log(2) / np.pi, 0),
    "rate_random_walk": (1 / 3, 1),
    "rate_ramp": (0.5, 2),
}
# Every inertial sensor has the first three; the others are fitted only where they stand out.
ALWAYS = ("noise_density", "flicker", "rate_random_walk")
RARE = ("quantisation", "rate_ramp")
# The lowest point of the curve divided by this is the bias instability (IEEE Std 952: sqrt(2 ln 2 / pi) B).
ONE_SIDED = 1.645  # 95 % of a normal distribution
# Rounds in which weights and fit agree.
ROUNDS = 8
FLOOR = float(np.sqrt(2 * np.log(2) / np.pi))


@dataclass(frozen=True, slots=True)
class NoiseFitSettings:
    """Settings of the fit; common practice, no source, where none is named."""

    # A real spectrum follows the model to this part of the variance, however many samples there were.
    model_error: float = 0.05
    # A kind of noise is said to be there where its variance stands out of its standard error so many times
    # (one-sided 95 % of a normal distribution); rare kinds enter the fit only where they stand out
    # more, or where without them the fit leaves the curve's interval and with them it does so less by this factor.
    seen: float = 1.645
    rare: float = 2.5
    improves: float = 0.95
    # Points with fewer degrees of freedom (relative error of the deviation 1 / sqrt(2 edf), above 24 %) are
    # drawn and fitted, but the lowest point is not looked for among them.
    trusted_freedom: float = 9.0
    # The low pass of a device bends the curve down towards short times; the fit begins where it is steepest,
    # within this slope of the variance (and what is chance).
    steepest: float = 0.05
    # What is left of the bend falls with time: the fit begins this many times later.
    clear: float = 4.0
    precise_freedom: float = 5000.0


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its standard deviation; without a value where it was not seen, but lies below `below`."""

    value: float | None
    sd: float | None = None
    below: float | None = None


@dataclass(frozen=True, slots=True)
class NoiseTerms:
    """What one axis' noise is made of, in the unit of the series.

    Parameters
    ----------
    terms : dict of str to Estimate
        Coefficients by the names in `TERMS`: noise density N [unit/sqrt(Hz), two-sided; the deviation at 1 s],
        flicker B [unit], rate random walk K [unit/s/sqrt(Hz)], rate ramp R [unit/s], quantisation Q [unit s].
    floor : float
        Lowest deviation among the points that can be trusted.
    bias_instability : Estimate
        That, divided by 0.664; its limits are `bias_low`, `bias_high`. Where the curve still falls at its end
        only `below` is known.
    bias_low, bias_high : float or None
        95 % interval of the bias instability.
    reached_s : float or None
        Averaging time of the lowest point [s]; None where the curve still falls.
    from_s : float
        Shortest averaging time of the fit [s].
    worst_ratio : float
        Largest ratio between curve and fit beyond the curve's own interval; 1 where the fit runs inside it.
    worst_s : float or None
        Where that is.
    """

    terms: dict[str, Estimate]
    floor: float
    bias_instability: Estimate
    bias_low: float | None
    bias_high: float | None
    reached_s: float | None
    from_s: float
    worst_ratio: float
    worst_s: float | None = field(default=None)


def fit_terms(curve: AllanCurve, axis: int, settings: NoiseFitSettings | None = None) -> NoiseTerms:
    """Fit the kinds of noise to the curve of one axis.

    Parameters
    ----------
    curve : AllanCurve
    axis : int
    settings : NoiseFitSettings, optional

    Notes
    -----
    Least squares of the Allan variance with coefficients that cannot be negative, weighted by the variance's
    own variance, 2 / edf (IEEE Std 952, annex C, fits the same sum by lines on logarithmic scales). The standard
    errors allow for what neighbouring points of the curve have in common.
    """
    settings = settings or NoiseFitSettings()
    first = _first(curve, axis, settings)
    points = _Points(curve.tau_s[first:], curve.deviation[first:, axis] ** 2, curve.freedom[first:, axis])
    kept = list(ALWAYS)
    squares, covariance = _solve(points, kept, settings)
    misfit = _misfit(curve, axis, first, kept, squares)
    for name in RARE:
        tried, with_it, uncertain = [*kept, name], *_solve(points, [*kept, name], settings)
        better = _misfit(curve, axis, first, tried, with_it)
        stands_out = with_it[-1] > settings.rare * np.sqrt(uncertain[-1, -1])
        if stands_out or (with_it[-1] > 0 and better[0] < settings.improves * misfit[0]):
            kept, squares, covariance, misfit = tried, with_it, uncertain, better
    sd = np.sqrt(np.diag(covariance))
    terms = {name: _estimate(points, name, kept, squares, sd, settings) for name in TERMS}
    lowest = _lowest(curve, axis, settings)
    return NoiseTerms(terms, *lowest, float(curve.tau_s[first]), *misfit)


@dataclass(frozen=True, eq=False, slots=True)
class _Points:
    tau_s: NDArray[np.float64]
    variance: NDArray[np.float64]
    freedom: NDArray[np.float64]


def _first(curve: AllanCurve, axis: int, settings: NoiseFitSettings) -> int:
    """First point that the device's low pass leaves alone."""
    precise = curve.freedom[:, axis] >= settings.precise_freedom
    count = int(np.argmin(precise)) if not precise.all() else len(precise)
    if count < 3:
        return 0
    slope = local_slopes(curve.averages, curve.deviation**2)[:count, axis]
    steepest = int(np.argmin(slope))
    chance = 2 * np.sqrt(2 / curve.freedom[steepest, axis])
    first = int(np.argmax(slope <= slope[steepest] + settings.steepest + chance))
    if first == 0:
        return 0
    return int(np.searchsorted(curve.tau_s, settings.clear * curve.tau_s[first]))


def _solve(
    points: _Points, kept: list[str], settings: NoiseFitSettings
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Squared coefficients of the kept kinds and their covariance; weights follow the fit, not the scatter."""
    from scipy.optimize import nnls

    design = _design(points, kept)
    expected = points.variance
    for _ in range(ROUNDS):
        weight = 1 / (_relative(points, settings) * expected)
        rows = design * weight[:, None]
        size = np.linalg.norm(rows, axis=0)
        squares = nnls(rows / size, points.variance * weight)[0] / size
        expected = np.maximum(design @ squares, 1e-3 * points.variance)
    return squares, _covariance(points, kept, squares, settings)


def _covariance(
    points: _Points, kept: list[str], squares: NDArray[np.float64], settings: NoiseFitSettings
) -> NDArray[np.float64]:
    """Covariance of the fitted squares if these were true, allowing for what neighbouring points share."""
    design, relative = _design(points, kept), _relative(points, settings)
    expected = np.maximum(design @ squares, 1e-3 * points.variance)
    rows = design / (relative * expected)[:, None]
    size = np.linalg.norm(rows, axis=0)
    rows /= size
    sampling_sd = np.sqrt(2 / points.freedom) / relative
    errors = _correlation(points.tau_s, dict(zip(kept, squares, strict=True)))
    errors *= np.outer(sampling_sd, sampling_sd)
    errors += np.diag((settings.model_error / relative) ** 2)
    gain = np.linalg.pinv(rows.T @ rows) @ rows.T
    covariance: NDArray[np.float64] = gain @ errors @ gain.T / np.outer(size, size)
    return covariance


def _design(points: _Points, kept: list[str]) -> NDArray[np.float64]:
    return np.stack([TERMS[name][0] * points.tau_s ** TERMS[name][1] for name in kept], axis=1)


def _relative(points: _Points, settings: NoiseFitSettings) -> NDArray[np.float64]:
    """Standard deviations of the points, of their expected values."""
    return np.hypot(np.sqrt(2 / points.freedom), settings.model_error)


def _correlation(tau_s: NDArray[np.float64], squares: dict[str, float]) -> NDArray[np.float64]:
    """Correlation of the Allan variances at different averaging times, shape (n, n), for a fitted spectrum.

    The variance is the power that the Allan filter lets pass; two of them share what passes both filters:
    their covariance is the integral of the product of both spectra behind the filters.
    """
    frequency = np.geomspace(0.03 / tau_s[-1], 3 / tau_s[0], 1500)
    spectrum = sum(
        square * (2 * np.pi * frequency) ** (-1 - TERMS[name][1]) * (2 * np.pi if name == "flicker" else 1)
        for name, square in squares.items()
    )
    angle = np.pi * frequency[:, None] * tau_s
    passed = np.asarray(spectrum)[:, None] * np.sin(angle) ** 4 / angle**2
    # The frequencies are even on a logarithmic scale: a step is as wide as its frequency.
    product: NDArray[np.float64] = (passed * frequency[:, None]).T @ passed
    size = np.sqrt(np.diag(product))
    correlation: NDArray[np.float64] = product / np.outer(size, size)
    return correlation


def _estimate(
    points: _Points,
    name: str,
    kept: list[str],
    squares: NDArray[np.float64],
    sd: NDArray[np.float64],
    settings: NoiseFitSettings,
) -> Estimate:
    """Coefficient of one kind, or the one-sided 95 % limit below which it stayed hidden."""
    if name in kept:
        square, square_sd = squares[kept.index(name)], sd[kept.index(name)]
        if square > settings.seen * square_sd:
            return Estimate(float(np.sqrt(square)), float(square_sd / (2 * np.sqrt(square))))
        tried = kept
    else:
        tried = [*kept, name]
        squares, _ = _solve(points, tried, settings)
    at = tried.index(name)
    # As large as it could be, its own scatter would be larger too: the limit is where both agree.
    largest = squares.copy()
    for _ in range(ROUNDS):
        sd_there = np.sqrt(_covariance(points, tried, largest, settings)[at, at])
        largest[at] = squares[at] + ONE_SIDED * sd_there
    return Estimate(None, None, float(np.sqrt(largest[at])))


def _lowest(
    curve: AllanCurve, axis: int, settings: NoiseFitSettings
) -> tuple[float, Estimate, float | None, float | None, float | None]:
    """Lowest trusted deviation, bias instability, its ends, and the time it is reached at."""
    trusted = curve.freedom[:, axis] >= settings.trusted_freedom
    count = max(1, int(np.count_nonzero(np.logical_and.accumulate(trusted))))
    place = int(np.argmin(curve.deviation[:count, axis]))
    floor = float(curve.deviation[place, axis])
    low, high = (float(end[place, axis]) / FLOOR for end in (curve.low, curve.high))
    # The curve must turn: rise behind its lowest point, or lie as flat as flicker over the last octave.
    slope = local_slopes(curve.averages, curve.deviation**2)[:count, axis]
    if slope[place:].max() < -0.25:
        return floor, Estimate(None, None, high), None, None, None
    value = floor / FLOOR
    return floor, Estimate(value, (high - low) / 3.92), low, high, float(curve.tau_s[place])


def _misfit(
    curve: AllanCurve, axis: int, first: int, kept: list[str], squares: NDArray[np.float64]
) -> tuple[float, float | None]:
    tau_s = curve.tau_s[first:]
    fitted = np.sqrt(term_variances(tau_s, dict(zip(kept, np.sqrt(squares), strict=True))).sum(axis=1))
    beyond = np.maximum(curve.low[first:, axis] / fitted, fitted / curve.high[first:, axis])
    worst = int(np.argmax(beyond))
    if beyond[worst] <= 1:
        return 1.0, None
    return float(beyond[worst]), float(tau_s[worst])


def term_variances(tau_s: NDArray[np.float64], coefficients: dict[str, float]) -> NDArray[np.float64]:
    """Allan variances of kinds of noise at averaging times, shape (n, kinds)."""
    return np.stack(
        [TERMS[name][0] * value**2 * tau_s ** TERMS[name][1] for name, value in coefficients.items()], axis=1
    )
