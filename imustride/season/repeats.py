"""Repeats of targets: what they differ by, and how well that is known.

The degrees of freedom are Satterthwaite's: fewer where athletes differ in their noise or share that of a day.

References
----------
Satterthwaite F. E. (1946) An approximate distribution of estimates of variance components. Biometrics 2:110-114.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import own
from imustride.season.components import MeanSquare

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class Repeats:
    """Repeats of targets.

    Parameters
    ----------
    target, shift, athlete : ndarray of int, shape (n,)
        What is repeated, what may have shifted it together with others, whose it is; each numbered from 0 on.
    value : ndarray, shape (n,)
        [unit of the metric]
    """

    target: NDArray[np.int_]
    shift: NDArray[np.int_]
    athlete: NDArray[np.int_]
    value: NDArray[np.float64]

    def __post_init__(self) -> None:
        own(self.target, self.shift, self.athlete, self.value)

    @property
    def counts(self) -> NDArray[np.int_]:
        """Repeats of every target."""
        return np.bincount(self.target)

    @property
    def means(self) -> NDArray[np.float64]:
        """Mean of every target."""
        out: NDArray[np.float64] = np.bincount(self.target, self.value) / self.counts
        return out

    @property
    def size(self) -> float:
        """Typical number of repeats: the harmonic mean, which the variance of an unweighted mean of means asks for."""
        return float(len(self.counts) / np.sum(1.0 / self.counts))

    def sem(self) -> MeanSquare:
        """Return all that repeats differ by.

        Notes
        -----
        What a day has in common is known from the days alone, however many athletes there were.
        """
        whole, alike = self._within(), self.typical()
        if whole.value <= 0.0 or alike.freedom < 1.0:
            return whole
        common = max(whole.value - alike.value, 0.0) / whole.value
        days = int(np.sum(np.bincount(self.shift) > 1))
        return MeanSquare(whole.value, 1.0 / (1.0 / whole.freedom + common**2 / max(days - 1, 1)))

    def typical(self) -> MeanSquare:
        """Return what is left when targets and shifts are taken out."""
        columns = np.eye(int(self.shift.max()) + 1)[self.shift]
        about = self._about(np.column_stack([self.value, columns]))
        value, columns = about[:, 0], about[:, 1:]
        fitted, _, rank, _ = np.linalg.lstsq(columns, value, rcond=None)
        freedom = len(value) - len(self.counts) - int(rank)
        if freedom < 1:
            return MeanSquare(float("nan"), 0.0)
        squares = float(np.sum((value - columns @ fitted) ** 2))
        whole = self._within()
        share = whole.freedom / (len(value) - len(self.counts))
        return MeanSquare(squares / freedom, freedom * share)

    def _within(self) -> MeanSquare:
        squares = np.bincount(self.athlete, self._about(self.value[:, None])[:, 0] ** 2)
        targets = np.unique(np.stack([self.target, self.athlete]), axis=1)[1]
        freedom = np.bincount(self.athlete) - np.bincount(targets)
        squares, freedom = squares[freedom > 0], freedom[freedom > 0]
        if not len(freedom):
            return MeanSquare(float("nan"), 0.0)
        total, all_freedom = float(squares.sum()), float(freedom.sum())
        if total <= 0.0:
            return MeanSquare(0.0, all_freedom)
        # Where athletes differ in their noise fewer count. The square of an athlete's mean square is too large for
        # the square of the variance by 1 + 2 / freedom.
        differing = total**2 / float(np.sum(squares**2 / (freedom + 2.0)))
        return MeanSquare(total / all_freedom, min(differing, all_freedom))

    def _about(self, columns: NDArray[np.float64]) -> NDArray[np.float64]:
        """Take each column about its mean of the target."""
        total = np.zeros((len(self.counts), columns.shape[1]))
        np.add.at(total, self.target, columns)
        out: NDArray[np.float64] = columns - (total / self.counts[:, None])[self.target]
        return out


def run_repeats(known: pd.DataFrame) -> Repeats:
    """Runs as repeats of their session."""
    sessions = known.groupby(["athlete", "date", "session"])
    return _repeats(known["value"], sessions.ngroup(), sessions.cumcount(), known.groupby("athlete").ngroup())


def session_repeats(levels: pd.DataFrame) -> Repeats:
    """Sessions as repeats of their athlete."""
    athlete = levels.groupby("athlete").ngroup()
    return _repeats(levels["level"], athlete, levels.groupby("date").ngroup(), athlete)


def _repeats(value: pd.Series, *numbers: pd.Series) -> Repeats:
    target, shift, athlete = (number.to_numpy(dtype=np.int_) for number in numbers)
    return Repeats(target, shift, athlete, value.to_numpy(dtype=float))
