"""Agreement of repeated measurements: analysis of variance, intraclass correlation by its forms, limits of agreement.

References
----------
Shrout P. E., Fleiss J. L. (1979) Intraclass correlations: uses in assessing rater reliability. Psychol. Bull.
86:420-428 (the six forms and their intervals).
McGraw K. O., Wong S. P. (1996) Forming inferences about some intraclass correlation coefficients. Psychol. Methods
1:30-46 (names by formula: A agreement, C consistency).
Bland J. M., Altman D. G. (1986) Statistical methods for assessing agreement between two methods of clinical
measurement. Lancet 327:307-310.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from imustride.season.components import UPPER

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

NORMAL_95: Final = 1.959963984540054


@dataclass(frozen=True, slots=True)
class OneWay:
    """Mean squares between and within groups, and the typical size of a group where they are unequal."""

    between: float
    within: float
    between_freedom: int
    within_freedom: int
    size: float


@dataclass(frozen=True, slots=True)
class TwoWay:
    """Mean squares of rows (targets), columns (repeats) and what is left; numbers of rows and columns."""

    rows: float
    columns: float
    left: float
    n: int
    k: int

    @property
    def left_freedom(self) -> int:
        """Degrees of freedom of what is left."""
        return (self.n - 1) * (self.k - 1)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A number and its 95 % interval."""

    value: float
    low: float
    high: float


def one_way(group: NDArray[np.int_], value: NDArray[np.float64]) -> OneWay:
    """Analyse groups of any sizes.

    Parameters
    ----------
    group : ndarray of int, shape (n,)
        From 0 on, each at least once.
    value : ndarray, shape (n,)

    Notes
    -----
    Values are taken about their mean first, so that leading digits in common cost no accuracy.
    """
    centred = value - value.mean()
    count = np.bincount(group)
    mean = np.bincount(group, centred) / count
    between_freedom, within_freedom = len(count) - 1, len(value) - len(count)
    between = float(np.sum(count * (mean - centred.mean()) ** 2))
    within = float(np.sum((centred - mean[group]) ** 2))
    size = (len(value) - np.sum(count**2) / len(value)) / between_freedom if between_freedom else len(value)
    return OneWay(
        between / between_freedom if between_freedom else float("nan"),
        within / within_freedom if within_freedom else float("nan"),
        between_freedom,
        within_freedom,
        float(size),
    )


def two_way(table: NDArray[np.float64]) -> TwoWay:
    """Analyse a complete table, one value a cell.

    Parameters
    ----------
    table : ndarray, shape (n, k)
        Targets by repeats, nothing missing.
    """
    n, k = table.shape
    centred = table - table.mean()
    row, column = centred.mean(axis=1), centred.mean(axis=0)
    left = centred - row[:, None] - column
    return TwoWay(
        float(k * np.sum(row**2)) / (n - 1),
        float(n * np.sum(column**2)) / (k - 1),
        float(np.sum(left**2)) / ((n - 1) * (k - 1)),
        n,
        k,
    )


def icc_forms(table: NDArray[np.float64]) -> pd.DataFrame:
    """Return the six intraclass correlations of a complete table with their 95 % intervals.

    Parameters
    ----------
    table : ndarray, shape (n, k)
        Targets by repeats.

    Returns
    -------
    DataFrame
        form (Shrout and Fleiss), formula (what it asks), value, ci_low, ci_high.

    Raises
    ------
    ValueError
        If a cell is missing: targets are never dropped unasked.
    """
    import pandas as pd

    if not np.isfinite(table).all():
        message = "a cell of the table is missing: its targets must be left out beforehand, by name"
        raise ValueError(message)
    two = two_way(table)
    n, k = table.shape
    one = one_way(np.repeat(np.arange(n), k), table.ravel())
    single = {
        "1": ("one-way: agreement", icc_one_way(one.between, one.within, n - 1, one.within_freedom, k)),
        "2": ("two-way: agreement", icc_agreement(two)),
        "3": ("two-way: consistency", icc_one_way(two.rows, two.left, n - 1, two.left_freedom, k)),
    }
    rows = []
    for form, (formula, estimate) in single.items():
        mean = of_mean(estimate, k)
        rows.append((f"ICC({form},1)", f"{formula}, single", estimate.value, estimate.low, estimate.high))
        rows.append((f"ICC({form},k)", f"{formula}, mean of {k}", mean.value, mean.low, mean.high))
    return pd.DataFrame(rows, columns=["form", "formula", "value", "ci_low", "ci_high"])


def icc_one_way(
    between: float, within: float, between_freedom: float, within_freedom: float, size: float
) -> Estimate:
    """Return the intraclass correlation of a single value from two mean squares, with its 95 % interval.

    Parameters
    ----------
    between, within : float
        Mean squares: (1,1) those of the one-way analysis, (3,1) of rows and what is left.
    between_freedom, within_freedom : float
    size : float
        Repeats a target.
    """
    from scipy.special import fdtri

    ratio = between / within
    low = ratio / fdtri(between_freedom, within_freedom, UPPER)
    high = ratio * fdtri(within_freedom, between_freedom, UPPER)
    return Estimate(*(float((f - 1.0) / (f - 1.0 + size)) for f in (ratio, low, high)))


def icc_agreement(two: TwoWay) -> Estimate:
    """Return the two-way intraclass correlation of absolute agreement, single value, ICC(2,1)."""
    from scipy.special import fdtri

    n, k = two.n, two.k
    value = (two.rows - two.left) / (two.rows + (k - 1) * two.left + k * (two.columns - two.left) / n)
    over = k * value * two.columns / two.left
    rest = n * (1.0 + (k - 1) * value) - k * value
    freedom = (k - 1) * (n - 1) * (over + rest) ** 2 / ((n - 1) * over**2 + rest**2)
    all_of_columns = k * two.columns + (k * n - k - n) * two.left
    f_low, f_high = fdtri(n - 1, freedom, UPPER), fdtri(freedom, n - 1, UPPER)
    low = n * (two.rows - f_low * two.left) / (f_low * all_of_columns + n * two.rows)
    high = n * (f_high * two.rows - two.left) / (all_of_columns + n * f_high * two.rows)
    return Estimate(float(value), float(low), float(high))


def of_mean(single: Estimate, repeats: float) -> Estimate:
    """Return the correlation of means of so many values from that of single ones (Spearman and Brown)."""

    def stepped(r: float) -> float:
        return repeats * r / (1.0 + (repeats - 1.0) * r)

    return Estimate(stepped(single.value), stepped(single.low), stepped(single.high))


def limits_of_agreement(first: NDArray[np.float64], second: NDArray[np.float64]) -> dict[str, Estimate]:
    """Return the mean difference `second` - `first` and the limits that hold 95 % of the differences.

    Parameters
    ----------
    first, second : ndarray, shape (n,)
        Pairs, one an athlete.

    Returns
    -------
    dict of str to Estimate
        difference, lower, upper, each with its interval (standard error of a limit: sqrt(3 / n) SD).
    """
    from scipy.special import stdtrit

    difference = second - first
    n = len(difference)
    mean, sd = float(difference.mean()), float(difference.std(ddof=1))
    t = float(stdtrit(n - 1, UPPER))
    half, half_limit = t * sd / np.sqrt(n), t * sd * np.sqrt(3.0 / n)
    lower, upper = mean - NORMAL_95 * sd, mean + NORMAL_95 * sd
    return {
        "difference": Estimate(mean, mean - half, mean + half),
        "lower": Estimate(lower, lower - half_limit, lower + half_limit),
        "upper": Estimate(upper, upper - half_limit, upper + half_limit),
    }
