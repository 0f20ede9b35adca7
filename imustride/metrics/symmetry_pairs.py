"""Neighbouring pushes of opposite feet, and left and right means in which a trend cancels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import own

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray


@dataclass(frozen=True, eq=False, slots=True)
class PairedRun:
    """The pushes of one run and phase that take part in pairs.

    Parameters
    ----------
    position : ndarray, shape (n,)
        Place in the order of pushes, both feet together. A push that is missing (the same foot twice
        in a row) counts as well.
    right : ndarray of bool, shape (n,)
    value : ndarray, shape (n,)
        The metric, in its unit.
    left_weight, right_weight : ndarray, shape (n,)
        ``left_weight @ value`` is the left mean, likewise right; each sums to one.
    pairs : int
    """

    position: NDArray[np.float64]
    right: NDArray[np.bool_]
    value: NDArray[np.float64]
    left_weight: NDArray[np.float64]
    right_weight: NDArray[np.float64]
    pairs: int

    def __post_init__(self) -> None:
        own(self.position, self.right, self.value, self.left_weight, self.right_weight)

    @property
    def left_mean(self) -> float:
        """Mean of the left foot over this run's pairs [unit of the metric]."""
        return float(self.left_weight @ self.value)

    @property
    def right_mean(self) -> float:
        """Mean of the right foot over this run's pairs [unit of the metric]."""
        return float(self.right_weight @ self.value)


def paired_run(right: NDArray[np.bool_], value: NDArray[np.float64]) -> PairedRun | None:
    """Form the pairs of one run and phase.

    Parameters
    ----------
    right : ndarray of bool, shape (n,)
        Foot of each push, in order of blade-off over both feet.
    value : ndarray, shape (n,)
        The metric; NaN where it could not be had.

    Returns
    -------
    PairedRun or None
        None where the run lacks pairs of either order (left then right, right then left): the trend along
        the run could not be told from a difference of the feet.

    Notes
    -----
    Neighbouring rows form a pair when their feet differ and both have a value. The left mean is half of
    (mean of left over left-then-right pairs + mean of left over right-then-left pairs), the right mean
    likewise. A constant step from push to push adds to right - left in pairs of one order what it takes
    away in pairs of the other.
    """
    opposite = right[1:] != right[:-1]
    pair = opposite & np.isfinite(value[1:]) & np.isfinite(value[:-1])
    left_first = np.flatnonzero(pair & right[1:])
    right_first = np.flatnonzero(pair & right[:-1])
    if not len(left_first) or not len(right_first):
        return None
    left_weight = np.zeros(len(value))
    right_weight = np.zeros(len(value))
    left_weight[left_first] += 0.5 / len(left_first)
    right_weight[left_first + 1] += 0.5 / len(left_first)
    right_weight[right_first] += 0.5 / len(right_first)
    left_weight[right_first + 1] += 0.5 / len(right_first)
    position = np.concatenate([[0.0], np.cumsum(np.where(opposite, 1.0, 2.0))])
    used = left_weight + right_weight > 0.0
    return PairedRun(
        position=position[used],
        right=right[used],
        value=value[used],
        left_weight=left_weight[used],
        right_weight=right_weight[used],
        pairs=int(pair.sum()),
    )


def pooled_means(runs: Sequence[PairedRun]) -> tuple[float, float]:
    """Left and right mean over runs, weighted by their number of pairs [unit of the metric]."""
    pairs = np.array([run.pairs for run in runs], dtype=float)
    left = np.array([run.left_mean for run in runs])
    right = np.array([run.right_mean for run in runs])
    return float(pairs @ left / pairs.sum()), float(pairs @ right / pairs.sum())


def detrended_sd(runs: Sequence[NDArray[np.float64]]) -> float:
    """Push-to-push standard deviation of one foot about its own line along each run [unit of the metric].

    Parameters
    ----------
    runs : sequence of ndarray, shape (2, m)
        Position and value of the foot's pushes in each run.

    Returns
    -------
    float
        Squares pooled over the runs, two degrees of freedom lost in each to its line; NaN where none
        is left.
    """
    squares = 0.0
    freedom = 0
    for position, value in runs:
        if len(value) <= 2:
            continue
        place = position - position.mean()
        change = value - value.mean()
        slope = (place @ change) / (place @ place)
        squares += float(np.sum((change - slope * place) ** 2))
        freedom += len(value) - 2
    return float(np.sqrt(squares / freedom)) if freedom else float("nan")
