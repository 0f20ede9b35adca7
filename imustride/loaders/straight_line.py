"""Time stamps against sample numbers: the straight line, and how a clock wanders from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

# Steps over which the period is first estimated: the rounding of stamps divides by it.
STRIDE = 64
# So many strides tell the median well enough.
STRIDES = 20_000
# Deviations from a straight line up to this part of a period are not worth an interpolation.
STEADY = 0.02
# The wander of one clock against the other is followed by means over this time [s].
WANDER_S = 2.0
# Means that leave the line by this many of their standard errors wander.
WANDER_SIGMA = 5.0


@dataclass(frozen=True, eq=False, slots=True)
class Line:
    """Stamps as ``start_s + period_s * number + residual_s``.

    `number` counts samples from the first; after a long hole it need not be whole.
    """

    start_s: float
    period_s: float
    number: NDArray[np.float64]
    residual_s: NDArray[np.float64]

    @property
    def is_steady(self) -> bool:
        """Whether every stamp lies on the line."""
        return bool(np.abs(self.residual_s).max() <= STEADY * self.period_s)


def first_period(stamps: NDArray[np.float64]) -> float:
    """Period [s] that few holes and rounding hardly touch: the median over `STRIDE` steps."""
    stride = min(STRIDE, max(1, (len(stamps) - 1) // 8))
    every = max(1, len(stamps) // STRIDES)
    return float(np.median(stamps[stride::every] - stamps[:-stride:every])) / stride


def fit_line(stamps: NDArray[np.float64], number: NDArray[np.float64], parts: NDArray[np.intp]) -> Line:
    """Fit one slope to all stretches, and one line where the holes between them are whole periods.

    Parameters
    ----------
    stamps : ndarray, shape (n,)
        Time stamps [s].
    number : ndarray, shape (n,)
        Sample numbers; only differences inside a stretch are relied upon.
    parts : ndarray of int
        Rows that begin a stretch, without the first.
    """
    whole = _single(stamps, number)
    if not len(parts):
        return whole
    bounds = np.concatenate(([0], parts))
    lengths = np.diff(np.append(bounds, len(stamps)))
    mean_stamp = np.add.reduceat(stamps - stamps[0], bounds) / lengths
    mean_number = np.add.reduceat(number, bounds) / lengths
    stamp = stamps - stamps[0] - np.repeat(mean_stamp, lengths)
    centred = number - np.repeat(mean_number, lengths)
    if not centred.any():  # every row stands alone
        return whole
    period = float(np.einsum("n,n", stamp, centred) / np.einsum("n,n", centred, centred))
    offset = mean_stamp / period - mean_number
    offset -= offset[0]
    joined = _single(stamps, number + np.repeat(np.rint(offset), lengths))
    apart = float((stamp - period * centred).std())
    if joined.residual_s.std() <= 1.05 * apart + 0.25 * STEADY * period:
        return joined
    near = np.abs(offset - np.rint(offset)) <= STEADY
    number = number + np.repeat(np.where(near, np.rint(offset), offset), lengths)
    start = float(stamps[0] + mean_stamp[0] - period * mean_number[0])
    return Line(start, period, number, stamps - start - period * number)


def _single(stamps: NDArray[np.float64], number: NDArray[np.float64]) -> Line:
    mean_number, first = float(number.mean()), float(stamps[0])
    centred = number - mean_number
    stamp = stamps - first
    mean_stamp = float(stamp.mean())
    period = float(np.einsum("n,n", centred, stamp) / np.einsum("n,n", centred, centred))
    stamp -= mean_stamp
    centred *= period
    stamp -= centred
    return Line(first + mean_stamp - period * mean_number, period, number, stamp)


def wander(line: Line) -> NDArray[np.float64] | None:
    """Follow how the stamps' clock leaves the line.

    Returns
    -------
    ndarray, shape (n,), or None
        Smooth part of the residual [s]; None where the line is straight within its noise.
    """
    count = len(line.number)
    block = max(STRIDE, round(WANDER_S / line.period_s))
    if count < 2 * block:
        return None
    bounds = np.arange(0, count - block + 1, block)
    lengths = np.diff(np.append(bounds, count))
    means = np.add.reduceat(line.residual_s, bounds) / lengths
    noise = float((line.residual_s - np.repeat(means, lengths)).std()) / np.sqrt(block)
    if np.abs(means).max() <= WANDER_SIGMA * noise + 0.5 * STEADY * line.period_s:
        return None
    return np.interp(np.arange(count), bounds + 0.5 * (lengths - 1), means)
