"""When the samples were taken, from the time stamps a logger wrote beside them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.errors import SignalQualityError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.recording import SensorLog

MIN_SAMPLES = 8
# Steps over which the period is first estimated: rounding of the stamps divides by it.
STRIDE = 64


@dataclass(frozen=True, eq=False, slots=True)
class Instants:
    """Rows of a log that count, and when they were sampled.

    Parameters
    ----------
    rows : ndarray of int, shape (n,), or None
        Rows of the log that are used; None means all.
    start_s, period_s : float
        Even grid on the own clock [s].
    place : ndarray, shape (n,)
        Sampling instants on that grid, in periods from its start; strictly increasing.
    jitter_sd_s : float
        Standard deviation of the stamps about their straight line [s].
    duplicates : int
        Rows left out since their stamp came before.
    """

    rows: NDArray[np.intp] | None
    start_s: float
    period_s: float
    place: NDArray[np.float64]
    jitter_sd_s: float
    duplicates: int


def instants(log: SensorLog, hole_s: float) -> Instants:
    """Recover the sampling instants of a log."""
    stamps = log.time_s
    rows = None
    good = np.isfinite(stamps)
    good[1:] &= np.diff(stamps) != 0
    duplicates = 0
    if not good.all():
        rows = np.flatnonzero(good)
        duplicates = int(np.isfinite(stamps).sum() - len(rows))
        stamps = stamps[rows]
    if len(stamps) < MIN_SAMPLES:
        message = f"{log.source}: {len(stamps)} samples with a time; wanted at least {MIN_SAMPLES}"
        raise SignalQualityError(message)
    steps = np.diff(stamps)
    if steps.min() < 0:
        at = int(np.argmax(steps < 0)) + 1
        row = at if rows is None else int(rows[at])
        message = (
            f"{log.source}: time runs backwards at row {row + 1}, from {stamps[at - 1]:.6f} s to {stamps[at]:.6f} s; "
            "wanted rising time stamps; cut the file there or repair the column"
        )
        raise SignalQualityError(message)
    stride = min(STRIDE, len(stamps) - 1)
    period = float(np.median(stamps[stride:] - stamps[:-stride])) / stride
    number = np.arange(len(stamps), dtype=np.float64)
    lost = np.flatnonzero(steps > 1.5 * period)
    if len(lost):
        jumps = np.zeros(len(stamps))
        jumps[lost + 1] = np.rint(steps[lost] / period) - 1
        number += np.cumsum(jumps)
    slope, start = np.polyfit(number, stamps - stamps[0], 1)
    start += stamps[0]
    line = start + slope * number
    residual = stamps - line
    if np.abs(residual).max() <= 0.02 * slope:
        place = number
    else:
        start = float(stamps[0])
        place = (stamps - start) / slope
    return Instants(rows, float(start), float(slope), place, float(residual.std()), duplicates)
