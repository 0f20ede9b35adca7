"""What an interval says about left and right, and what would say more."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from imustride.metrics.symmetry_interval import RandomError

CONVENTION: Final = "convention, no source"
# Of a metric compared by the index [%], and, by unit, of one compared by the difference: about 5 % of
# the usual size of what carries that unit (edge 40 degrees, contact 0.3 s, sideways travel 1 m, speed 8 m/s).
SMALLEST_INDEX_PERCENT: Final = 5.0
SMALLEST_BY_UNIT: Final = {"deg": 2.0, "s": 0.015, "m": 0.05, "m/s": 0.4}

LEFT_LARGER: Final = "left larger"
RIGHT_LARGER: Final = "right larger"
ALIKE: Final = "alike"
UNCLEAR: Final = "unclear"
NOT_MEASURED: Final = "not measured"
VERDICTS: Final = (LEFT_LARGER, RIGHT_LARGER, ALIKE, UNCLEAR, NOT_MEASURED)

MORE_RUNS: Final = "more_runs"
BETTER_CALIBRATION: Final = "better_calibration"
NEAR_SMALLEST: Final = "near_smallest_difference"
JOIN_CLOCKS: Final = "join_clocks"
NO_PAIRS: Final = "no_pairs"
ADVICE: Final = (MORE_RUNS, BETTER_CALIBRATION, NEAR_SMALLEST, JOIN_CLOCKS, NO_PAIRS)

NORMAL_95: Final = 1.959963984540054  # 97.5 % point of the normal distribution
MOST_RUNS: Final = 30  # more runs than this are no advice


@dataclass(frozen=True, slots=True)
class SmallestDifference:
    """Smallest difference that matters: `value` in percent (index) or in the metric's unit, and its source."""

    value: float
    source: str


def default_smallest(*, by_index: bool, unit: str) -> SmallestDifference:
    """Return the conventional smallest difference; NaN for a unit without one."""
    if by_index:
        return SmallestDifference(SMALLEST_INDEX_PERCENT, CONVENTION)
    if unit in SMALLEST_BY_UNIT:
        return SmallestDifference(SMALLEST_BY_UNIT[unit], CONVENTION)
    return SmallestDifference(float("nan"), "")


def verdict(estimate: float, half_width: float, smallest: float) -> str:
    """Judge right - left by its interval.

    Parameters
    ----------
    estimate, half_width : float
        Right - left and half of its 95 % interval, index points or unit; an infinite or missing
        half width is `unclear`.
    smallest : float
        Smallest difference that matters, same unit. NaN where none is known: then nothing is alike, and
        any interval without zero names the larger foot.
    """
    if not np.isfinite(half_width):
        return UNCLEAR
    size = abs(estimate)
    if size > half_width and not size < smallest:
        return RIGHT_LARGER if estimate > 0.0 else LEFT_LARGER
    return ALIKE if size + half_width < smallest else UNCLEAR


def advice(
    estimate: float, error: RandomError, systematic_sd: float, smallest: float, runs: int
) -> tuple[str, int | None]:
    """Say what would turn `unclear` into an answer.

    Parameters
    ----------
    estimate : float
        Right - left [unit of the metric], as are `systematic_sd` and `smallest`.
    error : RandomError
    systematic_sd : float
    smallest : float
    runs : int
        Runs so far.

    Returns
    -------
    word : str
        `better_calibration` where the systematic part alone is too wide, `near_smallest_difference` where the
        interval is narrow enough and still no side is reached, else `more_runs`.
    needed : int or None
        About how many runs in all would tell, were the estimate to stay; None above `MOST_RUNS` or
        where runs do not help.

    Notes
    -----
    A difference that reaches the smallest needs an interval without zero; a smaller one an interval inside
    the smallest difference, yet never narrower than half of it: a difference between the two cannot be
    told by any number of runs.
    """
    from scipy.special import stdtrit

    size = abs(estimate)
    target = max(smallest - size, 0.5 * smallest) if size < smallest else size
    systematic = NORMAL_95 * systematic_sd
    if systematic >= target:
        return BETTER_CALIBRATION, None
    if error.half_width(systematic_sd) <= target:
        return NEAR_SMALLEST, None
    needed = np.arange(runs + 1, MOST_RUNS + 1)
    freedom = needed * (error.freedom + 1.0) / runs - 1.0
    random = stdtrit(freedom, 0.975) * np.sqrt(error.run_variance / needed)
    enough = np.flatnonzero(np.hypot(random, systematic) < target)
    return MORE_RUNS, int(needed[enough[0]]) if len(enough) else None
