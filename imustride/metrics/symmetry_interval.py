"""How far right - left may be off: push-to-push variation, run-to-run change, systematic part.

Model of a run: ``value = level + slope * position + difference * (+1/2 right, -1/2 left) + noise``.
Level and slope belong to the run. The difference of a run is the day's plus a run-to-run change.

Only what varies almost as fast as the feet alternate can be mistaken for a difference of the feet. So the
noise is measured there and nowhere else: by the lowest cosines of the left-right series (equally weighted
cosines). What is slow (a bent trend, a good and a bad half of the run) does not count, and successive pushes
may hang together. The price is few degrees of freedom a run and with it a wide interval for one run.

How much the difference changes from run to run cannot be estimated from a few runs; it is averaged over
with a weakly informative prior instead of being set to zero (too narrow) or taken from the spread of
the runs alone (t with runs - 1 degrees of freedom: 4.3 standard errors at three runs).

References
----------
Lazarus E., Lewis D. J., Stock J. H., Watson M. W. (2018) HAR inference: recommendations for practice.
J. Bus. Econ. Stat. 36:541-559 (cosines, their number 0.4 n^(2/3), t with as many degrees of freedom).
Gelman A. (2006) Prior distributions for variance parameters in hierarchical models. Bayesian Anal.
1:515-534 (half-Cauchy prior for the spread of few groups).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import own

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from imustride.metrics.symmetry_pairs import PairedRun

LEVEL = 0.95
# Cosines a run: the published rule, which gives two at the 12 pushes of a sprint, and never fewer than two
# (common practice, no source: with one, the 95 % interval is 12.7 standard errors).
COSINES_FACTOR = 0.4
COSINES_MINIMUM = 2
# Median of the run-to-run change of the difference, in push-to-push standard deviations (common practice, no
# source; the coverage that follows is what tests/benchmark/symmetry_coverage.py prints).
CHANGE_MEDIAN = 0.12
CHANGES = 24
NODES = 24


@dataclass(frozen=True, eq=False, slots=True)
class RandomError:
    """Distribution of the random error of right - left: a mixture of t distributions.

    Parameters
    ----------
    weight, scale : ndarray, shape (m,)
        Weight and scale [unit of the metric] of each member.
    freedom : int
        Degrees of freedom of every member.
    run_variance : float
        Variance of one run of this kind about the day's difference, as likely too large as too
        small [unit squared].
    """

    weight: NDArray[np.float64]
    scale: NDArray[np.float64]
    freedom: int
    run_variance: float

    def __post_init__(self) -> None:
        own(self.weight, self.scale)

    def half_width(self, systematic_sd: float = 0.0) -> float:
        """Half of the central 95 % interval of random plus Gaussian systematic error [unit of the metric].

        Each t is a normal whose variance is spread by an inverse chi-square, and inside each normal
        the systematic variance adds exactly.
        """
        from scipy.optimize import brentq
        from scipy.special import chdtri, ndtr

        share, share_weight = _gauss_legendre()
        inflation = self.freedom / chdtri(self.freedom, share)
        sd = np.sqrt(self.scale[:, None] ** 2 * inflation + systematic_sd**2)
        weight = self.weight[:, None] * share_weight

        def excess(half_width: float) -> float:
            return float(np.sum(weight * ndtr(half_width / sd))) - 0.5 * (1.0 + LEVEL)

        return float(brentq(excess, 0.0, 10.0 * sd.max(), xtol=1e-6 * sd.min()))


@cache
def _gauss_legendre() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nodes and weights of the integral from 0 to 1."""
    node, weight = np.polynomial.legendre.leggauss(NODES)
    return 0.5 * (node + 1.0), 0.5 * weight


def random_error(runs: Sequence[PairedRun]) -> RandomError | None:
    """Find the distribution of the random error of the pooled right - left.

    Parameters
    ----------
    runs : sequence of PairedRun
        One: the error about that run's own difference. More: about the difference on that day, with
        the run as the unit that repeats.

    Returns
    -------
    RandomError or None
        None where no degree of freedom is left: too few pushes to see any variation.
    """
    from scipy.special import chdtri

    noise = [noise_squares(run) for run in runs]
    freedom = sum(cosines for _, cosines in noise) + len(runs) - 1
    if freedom < 1:
        return None
    contrast = [run.right_weight - run.left_weight for run in runs]
    own_variance = np.array([weight @ weight for weight in contrast])[:, None]
    difference = np.array([run.right_mean - run.left_mean for run in runs])[:, None]
    pairs = np.array([run.pairs for run in runs], dtype=float)[:, None]
    prior = CHANGE_MEDIAN * np.tan(0.5 * np.pi * (np.arange(CHANGES) + 0.5) / CHANGES)
    change = prior if len(runs) > 1 else np.zeros(1)

    # Restricted likelihood of the change, noise variance integrated out.
    variance = own_variance + change**2
    information = np.sum(1.0 / variance, axis=0)
    centre = np.sum(difference / variance, axis=0) / information
    squares = sum(square for square, _ in noise) + np.sum((difference - centre) ** 2 / variance, axis=0)
    rounding = 1e-12 * max(float(np.max(np.abs(run.value))) for run in runs)
    squares = np.maximum(squares, rounding**2 + np.finfo(float).tiny)
    log_weight = -0.5 * (np.sum(np.log(variance), axis=0) + np.log(information) + freedom * np.log(squares))
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()

    noise_variance = squares / freedom
    share = pairs / pairs.sum()
    scale = np.sqrt(noise_variance * np.sum(share**2 * variance, axis=0))
    expected_change = change**2 if len(runs) > 1 else np.full(1, CHANGE_MEDIAN**2)
    run_variance = float(weight @ (noise_variance * (own_variance.mean() + expected_change)))
    median_unbiased = freedom / float(chdtri(freedom, 0.5))
    return RandomError(weight, scale, freedom, run_variance * median_unbiased)


def noise_squares(run: PairedRun) -> tuple[float, int]:
    """Sum the squares of a run's cosine coefficients; each has the push-to-push variance.

    Returns
    -------
    squares : float
        [unit squared]
    cosines : int
        Their number, the degrees of freedom; 0 for a run of three pushes.
    """
    n = len(run.value)
    wanted = max(COSINES_MINIMUM, round(COSINES_FACTOR * n ** (2 / 3)))
    bend = int(n >= 4 + COSINES_MINIMUM)  # a bent trend leaks into the cosines: out too, where none is lost
    cosines = min(wanted, n - 3 - bend)
    foot = np.where(run.right, 1.0, -1.0)
    place = (run.position - run.position[0] + 0.5) / (run.position[-1] - run.position[0] + 1.0)
    slow = np.cos(np.pi * place[:, None] * np.arange(1, cosines + 1))
    trend = place[:, None] ** np.arange(2 + bend)
    columns = np.column_stack([trend, foot, foot[:, None] * slow])
    basis = np.linalg.qr(columns)[0][:, 3 + bend :]
    return float(np.sum((run.value @ basis) ** 2)), cosines
