"""The largest lasting step in a course of sessions, and how large chance alone makes it.

A step is a level held by at least two sessions in a row (from some session to the last, or for a while) against
the level of all others. Its strength is weighed against what is left over, so that a true step does not hide in its
own noise. How strong the strongest step is where there is none is drawn, not tabled: every step is looked at, and the
draws look at every step too.

References
----------
Andrews D. W. K. (1993) Tests for parameter instability and structural change with unknown change point.
Econometrica 61:821-856 (largest statistic over all places of a change).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import own

if TYPE_CHECKING:
    from numpy.typing import NDArray

# A single odd session is no change, and four sessions are the fewest that can hold one (common practice, no source).
FEWEST_HELD = 2
FEWEST_SESSIONS = 4
DRAWS = 20_000
DRAWS_AT_ONCE = 500


@dataclass(frozen=True, eq=False, slots=True)
class Steps:
    """Every step a course may hold.

    Parameters
    ----------
    start, stop : ndarray of int, shape (k,)
        The sessions `start` to `stop - 1` are at the new level.
    size : ndarray, shape (..., k)
        Mean of those less the mean of the others [unit of the metric].
    spread : ndarray, shape (k,)
        Variance of `size` over the variance of one session.
    left_over : ndarray, shape (..., k)
        Weighted squares left when the step is taken out [unit squared].
    """

    start: NDArray[np.int_]
    stop: NDArray[np.int_]
    size: NDArray[np.float64]
    spread: NDArray[np.float64]
    left_over: NDArray[np.float64]

    def __post_init__(self) -> None:
        own(self.start, self.stop, self.size, self.spread, self.left_over)

    def best(self) -> int:
        """Return the place of the step that leaves least over (courses of one row)."""
        return int(np.argmin(self.left_over))


def all_steps(level: NDArray[np.float64], weight: NDArray[np.float64]) -> Steps:
    """Find every step of a course.

    Parameters
    ----------
    level : ndarray, shape (..., n)
        Sessions in order of time, at least four.
    weight : ndarray, shape (n,)
        One over the relative variance of each session.
    """
    n = len(weight)
    start, stop = np.triu_indices(n + 1, FEWEST_HELD)
    # From the first session on means before all others, told as the rest changing: each split comes once.
    possible = start > 0
    start, stop = start[possible], stop[possible]
    centred = level - (level @ weight / weight.sum())[..., None]
    zero = np.zeros((*level.shape[:-1], 1))
    running = np.concatenate([zero, np.cumsum(centred * weight, axis=-1)], axis=-1)
    total = np.concatenate([[0.0], np.cumsum(weight)])
    inside = total[stop] - total[start]
    spread = 1.0 / inside + 1.0 / (total[-1] - inside)
    size = (running[..., stop] - running[..., start]) * spread  # centred: the others sum to the negative
    squares = np.sum(weight * centred**2, axis=-1)[..., None]
    return Steps(start, stop, size, spread, np.maximum(squares - size**2 / spread, 0.0))


@cache
def chance(sessions: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Draw courses without a change, sessions of variance one and equal weight.

    Returns
    -------
    taken, left_over : ndarray, shape (draws,)
        Squares taken out by the best step, and left over by it.
    """
    rng = np.random.default_rng(sessions)
    weight = np.ones(sessions)
    taken, left_over = [], []
    for _ in range(DRAWS // DRAWS_AT_ONCE):
        level = rng.standard_normal((DRAWS_AT_ONCE, sessions))
        left = all_steps(level, weight).left_over.min(axis=1)
        left_over.append(left)
        taken.append(level.var(axis=1) * sessions - left)
    return np.concatenate(taken), np.concatenate(left_over)


def chance_ratios(sessions: int, freedom: float) -> NDArray[np.float64]:
    """Draw how strong the best step is by chance alone: its square over its squared standard error.

    Parameters
    ----------
    sessions : int
    freedom : float
        Degrees of freedom of what is known of the variance beforehand.

    Returns
    -------
    ndarray, shape (draws,)
    """
    taken, left_over = chance(sessions)
    known = np.random.default_rng(sessions).chisquare(freedom, len(taken)) if freedom > 0.0 else 0.0
    return taken * (freedom + sessions - 2) / (known + left_over)
