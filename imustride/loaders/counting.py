"""Evenly counted samples of a long recording, block by block: lost ones filled in, holes refused."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.errors import SignalQualityError
from imustride.loaders.sampling import BRIDGE_S, BRIDGE_SAMPLES
from imustride.loaders.stamps import MIN_SAMPLES, instants

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    from imustride.recording import SensorLog

# Rows of the block before that are looked at again, so that a hole between two blocks is seen as one inside.
CONTEXT = 256


class Counting:
    """What was found while counting, complete behind the last block.

    Stamps only count the samples and show the holes; the samples themselves stay as they were written, since
    interpolation would take noise away.
    """

    def __init__(self) -> None:
        self.count = 0
        self.lost = 0
        self.first_s = self.last_s = np.nan
        self.notes: tuple[str, ...] = ()

    @property
    def rate_hz(self) -> float:
        """True sampling rate on the sensor's own clock [Hz]."""
        return (self.count - 1) / (self.last_s - self.first_s)

    def blocks(self, logs: Iterable[SensorLog]) -> Iterator[NDArray[np.float64]]:
        """Give the samples of consecutive blocks of one file, evenly counted.

        Parameters
        ----------
        logs : iterable of SensorLog

        Yields
        ------
        ndarray, shape (n, 6)
            Acceleration and angular velocity in the units of the logs.

        Raises
        ------
        SignalQualityError
            If time runs backwards, or more samples are missing in one place than can be filled in.
        """
        held: SensorLog | None = None
        row = 0
        for log in logs:
            self.notes = self.notes or log.notes
            joined = log if held is None else _behind(held, log)
            old = len(joined.time_s) - len(log.time_s)
            yield from self._new(joined, old, row)
            row += len(log.time_s)
            held = _last(joined)

    def _new(self, log: SensorLog, old: int, row: int) -> Iterator[NDArray[np.float64]]:
        """Give the samples of the rows behind the first `old` ones, which an earlier block has given."""
        values = np.hstack((log.acceleration_m_s2, log.angular_velocity_rad_s))
        rows, number = _numbers(log, row - old)
        whole = np.isfinite(values[rows]).all(axis=1)
        rows, number = rows[whole], number[whole]
        given = int(np.searchsorted(rows, old))
        if given == len(rows):
            return
        before = max(given - 1, 0)
        rows, number = rows[before:], number[before:]
        steps = np.maximum(np.rint(np.diff(number)), 1).astype(np.intp)
        self._refuse_hole(log, rows, steps, number)
        grid = np.concatenate(([0], np.cumsum(steps)))
        found = values[rows]
        if grid[-1] != len(rows) - 1:
            self.lost += int(grid[-1]) + 1 - len(rows)
            every = np.arange(grid[-1] + 1)
            found = np.stack([np.interp(every, grid, column) for column in found.T], axis=1)
        if self.count == 0:
            self.first_s = float(log.time_s[rows[0]])
        self.last_s = float(log.time_s[rows[-1]])
        found = found[1 if given else 0 :]
        self.count += len(found)
        yield found

    @staticmethod
    def _refuse_hole(
        log: SensorLog, rows: NDArray[np.intp], steps: NDArray[np.intp], number: NDArray[np.float64]
    ) -> None:
        if not len(steps):
            return
        period_s = float(log.time_s[rows[-1]] - log.time_s[rows[0]]) / max(float(number[-1] - number[0]), 1.0)
        largest = 1 + max(1, min(BRIDGE_SAMPLES, round(BRIDGE_S / max(period_s, 1e-9)) - 1))
        worst = int(np.argmax(steps > largest))
        if steps[worst] <= largest:
            return
        from_s, to_s = log.time_s[rows[worst]], log.time_s[rows[worst + 1]]
        message = (
            f"{log.source}: {steps[worst] - 1} samples are missing from {from_s:.3f} to {to_s:.3f} s; wanted one "
            "recording without a hole; record again, or cut with --start-s and --end-s"
        )
        raise SignalQualityError(message)


def _numbers(log: SensorLog, first_row: int) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Rows that count, and their sample numbers."""
    every = np.arange(len(log.time_s))
    if log.sensor.columns.time is None or len(every) < MIN_SAMPLES:
        return every, every.astype(np.float64)
    _refuse_backwards(log, first_row)
    if first_row > 0:
        log = replace(log, source=f"{log.source}, counted from row {first_row}")
    found = instants(log, BRIDGE_S)
    return every if found.rows is None else found.rows, found.number


def _refuse_backwards(log: SensorLog, first_row: int) -> None:
    """Refuse a clock that was set back: a block that ends before it begins; smaller steps back are judged later."""
    stamps = log.time_s[np.isfinite(log.time_s)]
    if len(stamps) < MIN_SAMPLES or stamps[-1] > stamps[0]:
        return
    at = int(np.argmin(np.diff(stamps))) + 1
    message = (
        f"{log.source}: time runs backwards or stands still near row {first_row + at + 1}: found {stamps[at]:.15g} s "
        f"after {stamps[at - 1]:.15g} s; wanted rising time stamps; cut the file there or repair the column"
    )
    raise SignalQualityError(message)


def _behind(held: SensorLog, log: SensorLog) -> SensorLog:
    return replace(
        log,
        time_s=np.concatenate((held.time_s, log.time_s)),
        acceleration_m_s2=np.concatenate((held.acceleration_m_s2, log.acceleration_m_s2)),
        angular_velocity_rad_s=np.concatenate((held.angular_velocity_rad_s, log.angular_velocity_rad_s)),
    )


def _last(log: SensorLog) -> SensorLog:
    return replace(
        log,
        time_s=log.time_s[-CONTEXT:].copy(),
        acceleration_m_s2=log.acceleration_m_s2[-CONTEXT:].copy(),
        angular_velocity_rad_s=log.angular_velocity_rad_s[-CONTEXT:].copy(),
    )
