"""How much a session of an athlete is off without any change, said by the others of the group.

A handful of sessions tells little of an athlete's own noise; a group tells much, yet athletes differ. So the
logarithm of the variance is taken to spread over the athletes about a common value, both learnt from the other
athletes after their own best step is taken out (a change of theirs is not noise). What they say is worth some degrees
of freedom, which are joined with the athlete's own sessions; without others these are zero.

References
----------
Smyth G. K. (2004) Linear models and empirical Bayes methods for assessing differential expression. Stat.
Appl. Genet. Mol. Biol. 3:3 (variances moderated by their group, degrees of freedom by moments of the logarithm).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from imustride.season.steps import FEWEST_SESSIONS, all_steps, chance

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd
    from numpy.typing import NDArray

# Half-normal prior of how far athletes differ (SD of the log variance; 0.8: a typical athlete's SD four tenths
# off), common practice, no source; tests/benchmark/season_change.py prints what follows.
DIFFER = 0.8
DIFFERENCES = 40
MOST_FREEDOM = 1000.0


@dataclass(frozen=True, slots=True)
class Noise:
    """Variance of one session of ordinary precision [unit squared], and the degrees of freedom it is worth."""

    variance: float
    freedom: float
    athletes: int

    def joined(self, squares: float, freedom: int) -> tuple[float, float]:
        """Join an athlete's own squares; return variance and degrees of freedom."""
        both = self.freedom + freedom
        if both <= 0:
            return float("nan"), 0.0
        return (self.freedom * self.variance + squares) / both, both


NOTHING = Noise(0.0, 0.0, 0)


@dataclass(frozen=True, slots=True, eq=False)
class LeftOver:
    """One athlete after the best step.

    Parameters
    ----------
    log_variance, uncertainty : float
        Logarithm of the variance of a session, and the variance of that logarithm.
    day : ndarray, shape (n,)
        Dates of the sessions.
    residual : ndarray, shape (n,)
        In standard deviations.
    """

    log_variance: float
    uncertainty: float
    day: NDArray[np.datetime64]
    residual: NDArray[np.float64]


def relative_weights(levels: pd.DataFrame) -> NDArray[np.float64]:
    """Return one over the variance of each session relative to one with the typical number of runs, shape (n,).

    Parameters
    ----------
    levels : DataFrame
        Of the whole group, from `session_levels`.

    Notes
    -----
    Sessions scatter by themselves and by their runs; how much of each is told by the runs of the group. Where it cannot
    be told, all sessions weigh the same.
    """
    runs = levels["runs"].to_numpy(dtype=float)
    repeats = float(np.sum(runs - 1.0))
    about = levels["level"] - levels.groupby("athlete")["level"].transform("mean")
    freedom = len(levels) - levels["athlete"].nunique()
    if repeats < 1 or freedom < 1 or np.all(runs == runs[0]):
        return np.ones(len(levels))
    run_variance = levels["squares"].sum() / repeats
    typical = len(runs) / np.sum(1.0 / runs)
    of_sessions = float(np.sum(about**2)) / freedom
    own_variance = max(of_sessions - run_variance / typical, 0.0)
    if own_variance + run_variance <= 0.0:
        return np.ones(len(levels))
    out: NDArray[np.float64] = (own_variance + run_variance / typical) / (own_variance + run_variance / runs)
    return out


def left_over(levels: pd.DataFrame, weight: NDArray[np.float64]) -> LeftOver | None:
    """Take the best step out of one athlete's course; None with too few sessions or without any scatter."""
    n = len(levels)
    if n < FEWEST_SESSIONS:
        return None
    level = levels["level"].to_numpy(dtype=float)
    steps = all_steps(level, weight)
    best = steps.best()
    squares = float(steps.left_over[best])
    if squares <= rounding(level):
        return None
    log_mean, log_variance = chance_of_log(n)
    inside = np.zeros(n, dtype=bool)
    inside[steps.start[best] : steps.stop[best]] = True
    residual = np.empty(n)
    for part in (inside, ~inside):
        residual[part] = level[part] - np.average(level[part], weights=weight[part])
    residual *= np.sqrt(weight * (n - 2) / squares)
    return LeftOver(
        np.log(squares) - log_mean, log_variance, levels["date"].to_numpy("datetime64[D]"), residual
    )


def rounding(level: NDArray[np.float64]) -> float:
    """Return squares that are rounding of the numbers and no scatter [unit squared]."""
    return len(level) * float((1e-12 * np.max(np.abs(level))) ** 2)


@cache
def chance_of_log(sessions: int) -> tuple[float, float]:
    """Return mean and variance of the logarithm of what the best step leaves over, for sessions of variance one."""
    log = np.log(chance(sessions)[1])
    return float(log.mean()), float(log.var())


def said_by_others(others: Sequence[LeftOver]) -> Noise:
    """Learn from the other athletes.

    Parameters
    ----------
    others : sequence of LeftOver

    Returns
    -------
    Noise
        `NOTHING` where there are none.
    """
    if not others:
        return NOTHING
    log = np.array([one.log_variance for one in others])
    known = np.array([one.uncertainty for one in others])
    differ = DIFFER * 4.0 * (np.arange(DIFFERENCES) + 0.5) / DIFFERENCES
    weight = 1.0 / (known + differ[:, None] ** 2)
    information = weight.sum(axis=1)
    centre = weight @ log / information
    likelihood = 0.5 * np.sum(np.log(weight), axis=1) - 0.5 * np.log(information)
    likelihood -= 0.5 * np.sum(weight * (log - centre[:, None]) ** 2, axis=1)
    likelihood -= 0.5 * (differ / DIFFER) ** 2
    share = np.exp(likelihood - likelihood.max())
    share /= share.sum()
    mean = share @ centre
    variance = share @ (differ**2 + 1.0 / information + (centre - mean) ** 2)
    freedom = freedom_of_log(float(variance) + _shared_days(others))
    return Noise(_variance_of_log(float(mean), freedom), freedom, len(others))


def _shared_days(others: Sequence[LeftOver]) -> float:
    """Return what a noise of the day, the same for all, adds to the variance of the logarithm.

    Ten athletes who share the noise of eight days are eight days' worth, not eighty.
    """
    residual = np.concatenate([one.residual for one in others])
    _, day = np.unique(np.concatenate([one.day for one in others]), return_inverse=True)
    together = np.bincount(day)
    pairs = float(np.sum(together * (together - 1)))
    if pairs == 0.0:
        return 0.0
    products = float(np.sum(np.bincount(day, residual) ** 2 - np.bincount(day, residual**2)))
    share = products / pairs / float(np.mean(residual**2))
    return 2.0 * max(share, 0.0) ** 2 / max(int(np.sum(together > 1)) - 2, 1)


def freedom_of_log(variance: float) -> float:
    """Return the degrees of freedom whose scaled inverse chi-square has this variance of the logarithm."""
    from scipy.optimize import brentq
    from scipy.special import polygamma

    def excess(log_half: float) -> float:
        return float(np.log(polygamma(1, np.exp(log_half))) - np.log(variance))

    if variance <= polygamma(1, 0.5 * MOST_FREEDOM):
        return MOST_FREEDOM
    return 2.0 * float(np.exp(brentq(excess, np.log(1e-3), np.log(MOST_FREEDOM))))


def _variance_of_log(mean: float, freedom: float) -> float:
    from scipy.special import psi

    return float(np.exp(mean - np.log(0.5 * freedom) + psi(0.5 * freedom)))
