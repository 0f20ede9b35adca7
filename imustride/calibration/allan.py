"""Overlapping Allan deviation of hours of samples, read once and in pieces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration.freedom import degrees_of_freedom, limits, noise_exponents
from imustride.recording import PIECE, own, pieces

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

# Up to so many samples a cluster every possible pair of neighbouring clusters counts. Longer clusters begin at
# every second, fourth, ... sample, so that at least half as many begin within the length of one: what that
# leaves out is below a hundredth of the deviation's own standard error, and memory stays bounded.
EXACT = 1024
PER_DECADE = 10
# The longest cluster is this part of the series: four of them have some 2 degrees of freedom.
LONGEST_PART = 4


@dataclass(frozen=True, eq=False, slots=True)
class AllanCurve:
    """Allan deviation against averaging time, of several series.

    Parameters
    ----------
    averages : ndarray of int, shape (n,)
        Samples in a cluster.
    tau_s : ndarray, shape (n,)
        Averaging time [s].
    deviation : ndarray, shape (n, k)
        In the unit of the series.
    low, high : ndarray, shape (n, k)
        Ends of the 95 % confidence interval.
    freedom : ndarray, shape (n, k)
        Equivalent degrees of freedom.
    exponent : ndarray of int, shape (n, k)
        Exponent of the power spectrum on which the degrees of freedom rest: 2 rounding of the integral,
        0 white, -1 flicker, -2 random walk.
    """

    averages: NDArray[np.intp]
    tau_s: NDArray[np.float64]
    deviation: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    freedom: NDArray[np.float64]
    exponent: NDArray[np.intp]

    def __post_init__(self) -> None:
        own(self.averages, self.tau_s, self.deviation, self.low, self.high, self.freedom, self.exponent)


def cluster_lengths(
    count: int, per_decade: int = PER_DECADE, longest_part: int = LONGEST_PART
) -> NDArray[np.intp]:
    """Return the lengths of clusters [samples] for a series of `count` samples, even on a logarithmic scale."""
    longest = max(1, count // longest_part)
    steps = np.arange(int(np.floor(per_decade * np.log10(longest))) + 1)
    lengths = np.rint(10 ** (steps / per_decade)).astype(np.intp)
    step = 2 ** np.ceil(np.log2(np.maximum(lengths / EXACT, 1))).astype(np.intp)
    return np.unique(lengths // step * step)


def allan_deviation(
    values: NDArray[np.float64], rate_hz: float, averages: Sequence[int] | NDArray[np.intp] | None = None
) -> AllanCurve:
    """Overlapping Allan deviation of series in memory, every possible pair of clusters counted.

    Parameters
    ----------
    values : ndarray, shape (n, k) or (n,)
        Evenly sampled, any unit.
    rate_hz : float
    averages : sequence of int, optional
        Samples in a cluster, at most half of the series.

    References
    ----------
    Riley, Handbook of Frequency Stability Analysis, NIST SP 1065 (2008), section 5.2.4.
    """
    series = values.reshape(len(values), -1)
    lengths = cluster_lengths(len(series)) if averages is None else np.asarray(averages, dtype=np.intp)
    sums = AllanSums(lengths, series.shape[1], exact=int(lengths.max()))
    sums.add(series)
    return sums.curve(rate_hz)


class AllanSums:
    """Sums from which the Allan deviation is taken, fed with one piece of the series after another.

    Parameters
    ----------
    averages : ndarray of int, shape (n,)
        Samples in a cluster.
    series : int
        Number of series side by side.
    exact : int
        Clusters up to this length begin at every sample.

    Notes
    -----
    The average of a cluster is a difference of the running sum, so the difference of two neighbouring
    averages is a second difference of it. The mean of the first piece is taken off before summing:
    second differences do not feel it, and the sum stays small.
    """

    def __init__(self, averages: NDArray[np.intp], series: int, exact: int = EXACT) -> None:
        self.averages = averages
        steps = np.array([_step(int(length), exact) for length in averages], dtype=np.intp)
        self._steps = steps
        self._levels = [
            _Level(int(step), averages[steps == step] // step, series) for step in np.unique(steps)
        ]
        self._longest_tail = max(level.tail for level in self._levels)
        self._sum = np.zeros((series, 1))
        self._offset: NDArray[np.float64] | None = None
        self.count = 0

    def add(self, values: NDArray[np.float64]) -> None:
        """Add the next samples, shape (n, k)."""
        if self._offset is None:
            self._offset = values.mean(axis=0)
            for level in self._levels:
                level.add(self._sum)
        for piece in pieces(len(values), max(PIECE, self._longest_tail)):
            rising = np.cumsum((values[piece] - self._offset).T, axis=1)
            rising += self._sum
            self._sum = rising[:, -1:].copy()
            for level in self._levels:
                level.add(rising[:, (-self.count - 1) % level.step :: level.step])
            self.count += rising.shape[1]

    def variances(self) -> NDArray[np.float64]:
        """Allan variances, shape (n, k), of the clusters in order of `averages`."""
        found = np.empty((len(self.averages), len(self._sum)))
        for level in self._levels:
            length = (level.lengths * level.step)[:, None].astype(np.float64)
            with np.errstate(invalid="ignore"):
                found[self._steps == level.step] = level.squares / (2 * length**2 * level.pairs[:, None])
        return found

    def curve(self, rate_hz: float) -> AllanCurve:
        """Allan deviations with confidence limits; clusters longer than half of the series are left out."""
        fits = 2 * self.averages <= self.count
        averages, variance = self.averages[fits], self.variances()[fits]
        starts = (averages // self._steps[fits]).astype(np.intp)
        exponent = noise_exponents(averages, variance)
        freedom = np.array(
            [
                [degrees_of_freedom(int(kind), int(m), self.count, int(s)) for kind in kinds]
                for m, s, kinds in zip(averages, starts, exponent, strict=True)
            ]
        )
        deviation = np.sqrt(variance)
        low, high = limits(deviation, freedom)
        return AllanCurve(averages, averages / rate_hz, deviation, low, high, freedom, exponent)


class _Level:
    """Clusters that begin at every `step`-th sample; `lengths` are in steps."""

    def __init__(self, step: int, lengths: NDArray[np.intp], series: int) -> None:
        self.step = step
        self.lengths = lengths
        self.tail = 2 * int(lengths.max())
        self.squares = np.zeros((len(lengths), series))
        self.pairs = np.zeros(len(lengths))
        self._held = np.empty((series, 0))

    def add(self, points: NDArray[np.float64]) -> None:
        """Add the next points of the running sum, shape (k, n)."""
        held = np.concatenate((self._held, points), axis=1)
        for place, length in enumerate(self.lengths):
            before = held.shape[1] - points.shape[1]
            used = held[:, max(0, before - 2 * length) :]
            if used.shape[1] > 2 * length:
                self.squares[place] += _second_differences(used, int(length))
                self.pairs[place] += used.shape[1] - 2 * length
        self._held = held[:, -self.tail :].copy()


def _second_differences(points: NDArray[np.float64], length: int) -> NDArray[np.float64]:
    """Sum of the squared second differences of points `length` apart, shape (k,)."""
    total = np.zeros(len(points))
    for piece in pieces(points.shape[1] - 2 * length, PIECE):
        middle = points[:, piece.start + length : piece.stop + length]
        twice = points[:, piece.start + 2 * length : piece.stop + 2 * length] - middle
        twice -= middle
        twice += points[:, piece]
        total += np.einsum("kn,kn->k", twice, twice)
    return total


def _step(length: int, exact: int) -> int:
    """Samples from one begin of a cluster to the next: a power of two that divides its length."""
    step = 1
    while length > exact * step and length % (2 * step) == 0:
        step *= 2
    return step
