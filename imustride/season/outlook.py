"""How many more sessions would tell, were they to come out like the last ones."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.season.change import LEVEL, NONE_THAT_MATTERS, Change, weigh
from imustride.season.noise import left_over, relative_weights, said_by_others
from imustride.season.steps import FEWEST_SESSIONS, all_steps

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from imustride.season.noise import Noise


SESSIONS_APART = np.timedelta64(7, "D")


def sessions_needed(levels: pd.DataFrame, change: Change, metrics: int, most: int) -> int | None:
    """Return about how many more sessions would turn an unclear course into an answer.

    Parameters
    ----------
    levels : DataFrame
        Of the whole group, from `session_levels`.
    change : Change
        Of the athlete that is asked about: his noise and what matters.
    metrics : int
        Number of metrics judged together; the correction is that of the first of them.
    most : int
        More than so many are not tried.

    Returns
    -------
    int or None
        Below four sessions those that are missing. None where even `most` would not tell.

    Notes
    -----
    Further sessions are taken to stay at the level of the last ones, scattering about it by one standard deviation, up
    and down in turn. The last ones are those of the best step where it lasts, else the last third.
    """
    whole = relative_weights(levels)
    mine = (levels["athlete"] == change.athlete).to_numpy()
    if mine.sum() < FEWEST_SESSIONS:
        return FEWEST_SESSIONS - int(mine.sum())
    if not np.isfinite(change.session_sd):
        return None
    groups = levels[~mine].groupby("athlete").indices.values()
    left = [left_over(levels[~mine].iloc[rows], whole[~mine][rows]) for rows in groups]
    noise = said_by_others([one for one in left if one is not None])
    course = levels[mine]
    mean, sd = _last_ones(course, whole[mine], noise)

    def tells(more: int) -> bool:
        longer, weight = _longer(course, whole[mine], more, mean, sd)
        told = weigh(
            Change(change.metric, change.athlete, len(longer), 0, smallest=change.smallest),
            longer,
            weight,
            noise,
            metrics,
        )
        return told.p_value * metrics <= 1.0 - LEVEL or told.verdict == NONE_THAT_MATTERS

    if not tells(most):
        return None
    low, high = 0, most  # low does not tell, high does
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if tells(middle) else (middle, high)
    return high


def _last_ones(course: pd.DataFrame, weight: NDArray[np.float64], noise: Noise) -> tuple[float, float]:
    """Return the level of the last sessions, and the SD of a session when the best step is taken out."""
    level, n = course["level"].to_numpy(dtype=float), len(course)
    steps = all_steps(level, weight)
    best = steps.best()
    begin = int(steps.start[best]) if steps.stop[best] == n else n - max(2, -(-n // 3))
    variance, _ = noise.joined(float(steps.left_over[best]), n - 2)
    return float(np.average(level[begin:], weights=weight[begin:])), float(np.sqrt(variance))


def _longer(
    course: pd.DataFrame, weight: NDArray[np.float64], more: int, mean: float, sd: float
) -> tuple[pd.DataFrame, NDArray[np.float64]]:
    import pandas as pd

    turn = np.where(np.arange(more) % 2, -1.0, 1.0)
    further = pd.DataFrame(
        {
            "athlete": course["athlete"].iloc[0],
            "date": course["date"].iloc[-1] + SESSIONS_APART * np.arange(1, more + 1),
            "session": [f"+{k}" for k in range(more)],
            "level": mean + sd * turn,
            "squares": 0.0,
            "runs": 1,
            "pushes": 0,
        }
    )
    return pd.concat([course, further], ignore_index=True), np.append(weight, np.ones(more))
