"""A log of hours as statistics of short blocks: all that is kept of it while runs are looked for."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.errors import SignalQualityError
from imustride.recording import own

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.recording import SensorLog

BLOCK_S = 0.1
# From one sample to the next but some: as `synchronisation.shocks` tells how sharp a change is.
SHARP_S = 0.004
# A clock that goes on for longer than any battery was set while it ran, or is in another unit.
LONGEST_S = 48 * 3600.0
# A step back by more is a clock that was set; less is the scatter of stamps.
BACK_S = 1.0


@dataclass(frozen=True, eq=False, slots=True)
class Blocks:
    """Statistics of blocks of `BLOCK_S`, one after the other on the sensor's own clock.

    Parameters
    ----------
    start_s : float
        Time at which the first block begins, own clock [s].
    count : ndarray of int, shape (n,)
        Samples in each block; 0 in a hole.
    rate_mean_rad_s, rate_sd_rad_s, acceleration_sd_m_s2 : ndarray, shape (n, 3)
        Of the angular velocity and the specific force in each block; 0 in a hole.
    sharpest_m_s2, sharpest_s : ndarray, shape (n,)
        Largest change of specific force within `SHARP_S` in each block, and its time on the own clock [s].
    """

    start_s: float
    count: NDArray[np.intp]
    rate_mean_rad_s: NDArray[np.float64]
    rate_sd_rad_s: NDArray[np.float64]
    acceleration_sd_m_s2: NDArray[np.float64]
    sharpest_m_s2: NDArray[np.float64]
    sharpest_s: NDArray[np.float64]

    def __post_init__(self) -> None:
        own(self.count, self.rate_mean_rad_s, self.rate_sd_rad_s, self.acceleration_sd_m_s2)
        own(self.sharpest_m_s2, self.sharpest_s)

    @property
    def end_s(self) -> float:
        """Time at which the last block ends, own clock [s]."""
        return self.start_s + BLOCK_S * len(self.count)

    @property
    def measured(self) -> NDArray[np.bool_]:
        """Blocks with at least half of the usual number of samples, shape (n,)."""
        usual = np.median(self.count[self.count > 0])
        return np.asarray(self.count > 0.5 * usual)

    def rotation_rad_s(self, places: NDArray[np.intp] | slice = slice(None)) -> NDArray[np.float64]:
        """Root mean square of the angular velocity in blocks, all by default, shape (n,)."""
        mean, sd = self.rate_mean_rad_s[places], self.rate_sd_rad_s[places]
        return np.asarray(np.sqrt((mean**2 + sd**2).sum(axis=1)))

    def index(self, time_s: float) -> int:
        """Return the block at a time on the own clock, clamped to the log."""
        return int(np.clip(np.floor((time_s - self.start_s) / BLOCK_S), 0, len(self.count) - 1))


class Survey:
    """Adds up the blocks of a log that is read piece by piece; no sample is kept."""

    def __init__(self) -> None:
        self._start_s = self._last_s = np.nan
        self._parts: list[tuple[NDArray[np.intp], NDArray[np.float64]]] = []

    def add(self, log: SensorLog) -> None:
        """Add the next rows of the log.

        Parameters
        ----------
        log : SensorLog
            SI units.

        Raises
        ------
        SignalQualityError
            If its clock was set back, or goes on for more than two days.
        """
        values = np.column_stack((log.angular_velocity_rad_s, log.acceleration_m_s2))
        whole = np.isfinite(log.time_s) & np.isfinite(values).all(axis=1)
        time_s, values = log.time_s[whole], values[whole]
        if len(time_s) < 2:
            return
        if np.isnan(self._start_s):
            self._start_s = self._last_s = float(time_s[0])
        self._refuse_clock(log, time_s)
        self._last_s = max(self._last_s, float(time_s[-1]))
        place = np.floor((time_s - self._start_s) / BLOCK_S).astype(np.intp)
        place = np.maximum.accumulate(np.maximum(place, 0))
        edges = np.concatenate(([0], np.flatnonzero(np.diff(place)) + 1))
        sharp = _sharpness(time_s, values[:, 3:])
        peak, peak_s = _peaks(sharp, time_s, edges)
        columns = [np.diff(edges, append=len(place)).astype(np.float64), peak, peak_s]
        columns += [np.add.reduceat(column, edges) for column in (*values.T, *(values**2).T)]
        self._parts.append((place[edges], np.column_stack(columns)))

    def blocks(self) -> Blocks:
        """Return the blocks of everything added.

        Raises
        ------
        SignalQualityError
            If it was less than a block.
        """
        last = max((int(place[-1]) for place, _ in self._parts), default=0)
        if last < 1:
            message = "less than a second of samples; wanted a recording; copy the file from the sensor again"
            raise SignalQualityError(message)
        total = np.zeros((last + 1, 15))
        for place, columns in self._parts:  # a block may lie across two of them
            total[place, 2] = np.where(columns[:, 1] > total[place, 1], columns[:, 2], total[place, 2])
            total[place, 1] = np.maximum(total[place, 1], columns[:, 1])
            total[place, 0] += columns[:, 0]
            total[place, 3:] += columns[:, 3:]
        count = np.maximum(total[:, :1], 1)
        mean, square = total[:, 3:9] / count, total[:, 9:] / count
        spread = np.sqrt(np.maximum(square - mean**2, 0.0))
        return Blocks(
            self._start_s,
            total[:, 0].astype(np.intp),
            mean[:, :3].copy(),
            spread[:, :3].copy(),
            spread[:, 3:].copy(),
            total[:, 1].copy(),
            total[:, 2].copy(),
        )

    def _refuse_clock(self, log: SensorLog, time_s: NDArray[np.float64]) -> None:
        back_s = max(self._last_s - float(time_s[0]), float(-np.diff(time_s).min()))
        if back_s > BACK_S:
            message = (
                f"{log.source}: the clock is set back by {back_s:.1f} s near {float(time_s.max()):.1f} s; wanted one "
                "recording; cut the file there"
            )
            raise SignalQualityError(message)
        if float(time_s.max()) - self._start_s > LONGEST_S:
            hours = (float(time_s.max()) - self._start_s) / 3600
            message = (
                f"{log.source}: lasts {hours:.0f} hours by its clock; wanted {LONGEST_S / 3600:.0f} at most; "
                "is the unit of time right?"
            )
            raise SignalQualityError(message)


def _sharpness(time_s: NDArray[np.float64], acceleration: NDArray[np.float64]) -> NDArray[np.float64]:
    """Size of the change of specific force within `SHARP_S` [m/s^2], shape (n,); 0 across a hole."""
    period_s = max(float(np.median(np.diff(time_s))), 1e-6)
    reach = max(round(SHARP_S / period_s), 1)
    square = np.zeros(len(time_s))
    for axis in acceleration.T:
        square[reach:] += (axis[reach:] - axis[:-reach]) ** 2
    square[reach:][time_s[reach:] - time_s[:-reach] > 2 * reach * period_s] = 0.0
    return np.sqrt(square, out=square)


def _peaks(
    sharp: NDArray[np.float64], time_s: NDArray[np.float64], edges: NDArray[np.intp]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Largest value of each block, and when."""
    peak = np.maximum.reduceat(sharp, edges)
    lengths = np.diff(edges, append=len(sharp))
    at = np.flatnonzero(sharp >= np.repeat(peak, lengths))
    owner = np.searchsorted(edges, at, side="right") - 1
    first = np.concatenate(([True], np.diff(owner) > 0))
    return peak, time_s[at[first]]
