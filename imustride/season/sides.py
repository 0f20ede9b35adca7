"""Asymmetry over a season: how large, and whether the larger side stays the same.

The side often flips from session to session where the asymmetry is small, so a side is said only where it comes
back more often than a tossed coin lets it.

References
----------
Fleiss J. L. (1971) Measuring nominal scale agreement among many raters. Psychol. Bull. 76:378-382 (agreement
beyond chance; here the raters are sessions, and their number may differ between athletes).
Clopper C. J., Pearson E. S. (1934) The use of confidence or fiducial limits illustrated in the case of the binomial.
Biometrika 26:404-413.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from imustride.season.agreement import Estimate
from imustride.season.components import LEVEL, UPPER

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

LEFT: Final = "left, consistently"
RIGHT: Final = "right, consistently"
NOT_CONSISTENT: Final = "no consistent side"
TOO_FEW: Final = "too few sessions"
# Even if all sessions agree, five tosses of a coin do so in one case of sixteen.
FEWEST_SIDES: Final = 6
FEWEST_ATHLETES: Final = 3
KAPPAS, SHARES = 200, 99  # grid of the likelihood


def sides(levels: pd.DataFrame) -> pd.DataFrame:
    """Return size and side of every athlete's asymmetry.

    Parameters
    ----------
    levels : DataFrame
        Rows of `session_levels` of a signed metric, right larger positive.

    Returns
    -------
    DataFrame
        athlete; sessions; mean, ci_low, ci_high (signed, 95 %, t over sessions) [unit of the metric]; size (mean without
        sign: noise makes it larger than it is); right (sessions with the right larger); same_side, same_side_ci_low,
        same_side_ci_high (share of sessions on the commoner side); p_value (of a coin so one-sided); side.
    """
    import pandas as pd

    rows = [
        {"athlete": athlete, **_of_athlete(group["level"].to_numpy(dtype=float))}
        for athlete, group in levels.groupby("athlete", sort=True)
    ]
    return pd.DataFrame(rows)


def _of_athlete(level: NDArray[np.float64]) -> dict[str, object]:
    from scipy.special import stdtrit

    n = len(level)
    mean = float(level.mean())
    half = float(stdtrit(n - 1, UPPER) * level.std(ddof=1) / np.sqrt(n)) if n > 1 else float("nan")
    right, left = int(np.sum(level > 0.0)), int(np.sum(level < 0.0))
    same = share_of(max(right, left), right + left)
    chance = of_a_coin(right, left)
    if right + left < FEWEST_SIDES:
        side = TOO_FEW
    elif chance > 1.0 - LEVEL:
        side = NOT_CONSISTENT
    else:
        side = RIGHT if right > left else LEFT
    return {
        "sessions": n,
        "mean": mean,
        "ci_low": mean - half,
        "ci_high": mean + half,
        "size": float(np.mean(np.abs(level))),
        "right": right,
        "same_side": same.value,
        "same_side_ci_low": same.low,
        "same_side_ci_high": same.high,
        "p_value": chance,
        "side": side,
    }


def share_of(part: int, whole: int) -> Estimate:
    """Return a share and its exact 95 % interval (Clopper and Pearson 1934); NaN of nothing."""
    from scipy.special import betaincinv

    if whole == 0:
        return Estimate(float("nan"), float("nan"), float("nan"))
    low = float(betaincinv(part, whole - part + 1, 1.0 - UPPER)) if part else 0.0
    high = float(betaincinv(part + 1, whole - part, UPPER)) if part < whole else 1.0
    return Estimate(part / whole, low, high)


def of_a_coin(right: int, left: int) -> float:
    """Return how often a tossed coin is at least as one-sided, either way."""
    from scipy.special import bdtr

    return min(1.0, 2.0 * float(bdtr(min(right, left), right + left, 0.5))) if right + left else 1.0


def side_agreement(levels: pd.DataFrame) -> Estimate:
    """Return how far sessions agree on the side beyond chance, over the group (kappa), with its 95 % interval.

    Parameters
    ----------
    levels : DataFrame
        Rows of `session_levels` of a signed metric.

    Returns
    -------
    Estimate
        1: every athlete keeps the side; 0: no more than chance. NaN with fewer than three athletes of two
        sessions, or where all sessions of all athletes have the same side, so that nothing could disagree.

    Notes
    -----
    The interval holds what the likelihood ratio of a beta-binomial allows, at the square of Student's t over
    athletes: an ordinary chi-square limit held too little with few athletes (tests/benchmark/season_change.py).
    """
    from scipy.special import stdtrit

    known = levels[levels["level"] != 0.0]
    count = known.assign(right=known["level"] > 0.0).groupby("athlete")["right"].agg(["sum", "size"])
    count = count[count["size"] > 1]
    right, n = count["sum"].to_numpy(dtype=float), count["size"].to_numpy(dtype=float)
    if len(n) < FEWEST_ATHLETES or right.sum() in {0.0, n.sum()}:
        return Estimate(float("nan"), float("nan"), float("nan"))
    value = _kappa(right, n)
    kappa = (np.arange(KAPPAS) + 0.5) / KAPPAS
    likelihood = _log_likelihood(right, n, kappa)
    limit = float(stdtrit(len(n) - 1, UPPER)) ** 2
    held = kappa[2.0 * (likelihood.max() - likelihood) <= limit]
    half_step = 0.5 / KAPPAS
    return Estimate(value, min(float(held[0]) - half_step, value), max(float(held[-1]) + half_step, value))


def _kappa(right: NDArray[np.float64], n: NDArray[np.float64]) -> float:
    left = n - right
    agreed = float(np.mean((right * (right - 1.0) + left * (left - 1.0)) / (n * (n - 1.0))))
    share = float(right.sum() / n.sum())
    chance = share**2 + (1.0 - share) ** 2
    return (agreed - chance) / (1.0 - chance)


def _log_likelihood(
    right: NDArray[np.float64], n: NDArray[np.float64], kappa: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the log likelihood of each agreement, the share of right the likeliest for it, shape (len(kappa),)."""
    from scipy.special import betaln

    share = (np.arange(SHARES) + 1.0) / (SHARES + 1.0)
    odds = (1.0 / kappa - 1.0)[:, None]
    alpha, beta = share * odds, (1.0 - share) * odds
    total = np.zeros(alpha.shape)
    for pair, times in zip(*np.unique(np.stack([right, n], axis=1), axis=0, return_counts=True), strict=True):
        total += times * (betaln(pair[0] + alpha, pair[1] - pair[0] + beta) - betaln(alpha, beta))
    out: NDArray[np.float64] = total.max(axis=1)
    return out
