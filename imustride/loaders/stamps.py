"""When the samples were taken, from the time stamps a logger wrote beside them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.errors import SignalQualityError
from imustride.loaders.straight_line import Line, first_period, fit_line, wander

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.recording import SensorLog

MIN_SAMPLES = 8
# A step this many periods long may have lost a sample inside.
LOST_STEP = 1.5
# Where steps scatter by less than this part of a period (5.5 times fit into half of one), each
# tells how many samples it lost; where they scatter more, medians of the stamps on both sides are compared. Over (14 scatter)^2
# samples half a period is 5.5 standard errors of their difference (median of normal noise).
CLEAR_SCATTER = 0.09
CONTEXT_FACTOR = 14
CONTEXT_LIMITS = (7, 64)
# Stamps may step back within their own scatter (6.5 standard deviations: once in 10^10 steps) where
# it is that large, up to three periods; rows out of order in a steady log do not pass as scatter.
SCATTER_SIGMA = 6.5
BACKWARD_PERIODS = 3
# Where many samples are lost the first period is too long; counting again corrects it.
RECOUNTS = 4
SAME_PERIOD = 1e-3
# Equal stamps on this part of the rows are coarse stamps, not rows written twice.
COARSE_SHARE = 0.05
# Rows asked whether stamps are true: enough to tell, little to compute. They lie in stretches over which the signal changes by
# more than this part of the most it does: where it rests, noise passes for a slope, and none is found.
ASKED_ROWS = 50_000
ASKED_STRETCH = 64
LIVELY_SHARE = 0.05


@dataclass(frozen=True, eq=False, slots=True)
class Instants:
    """The rows of a log that count, and when they were sampled.

    Parameters
    ----------
    rows : ndarray of int, shape (n,), or None
        Rows of the log that are used; None means all.
    start_s, period_s : float
        Even grid on the own clock [s].
    place : ndarray, shape (n,)
        Sampling instants on that grid, in periods from its start; strictly increasing.
    number : ndarray, shape (n,)
        Sample numbers, lost samples counted; the same array as `place` where the samples lie on
        the grid.
    jitter_sd_s : float
        Standard deviation of the stamps about their straight line [s].
    duplicates : int
        Rows left out since they were written before.
    """

    rows: NDArray[np.intp] | None
    start_s: float
    period_s: float
    place: NDArray[np.float64]
    number: NDArray[np.float64]
    jitter_sd_s: float
    duplicates: int


def instants(log: SensorLog, bridge_s: float) -> Instants:
    """Recover the sampling instants of a log.

    Parameters
    ----------
    log : SensorLog
    bridge_s : float
        Holes longer than this may end on another phase of the sampling [s].

    Raises
    ------
    SignalQualityError
        If fewer than `MIN_SAMPLES` rows have a time, time stands still, or it runs backwards.

    Notes
    -----
    Rounded stamps lie on a straight line against the sample number, within the rounding: the line
    is the better clock. Stamps that jitter are either true (the sampling jitters) or noisy (the
    stamping jitters): `stamps_are_true` asks the signals. Stamps that repeat or step back cannot be
    true. A clock that wanders against the sampling is followed by means over some seconds.
    """
    rows, duplicates = _rows(log)
    stamps = log.time_s if rows is None else log.time_s[rows]
    if len(stamps) < MIN_SAMPLES or not stamps[-1] > stamps[0]:
        message = (
            f"{log.source}: {len(stamps)} rows with a time of their own; wanted at least {MIN_SAMPLES}; "
            "is this the time column, and the whole file?"
        )
        raise SignalQualityError(message)
    steps = np.diff(stamps)
    period = first_period(stamps)
    if period == 0:
        message = f"{log.source}: the time stands still in most rows; wanted rising time stamps; is this the time column?"
        raise SignalQualityError(message)
    _refuse_backwards(log, rows, steps, period)
    line = _line(stamps, steps, period, bridge_s)
    _refuse_to_and_fro(log, goes_on=line.period_s > 0)
    drift = None if line.is_steady else wander(line)
    jitter = line.residual_s if drift is None else line.residual_s - drift
    place = line.number if drift is None else line.number + drift / line.period_s
    if not (line.is_steady or steps.min() <= 0 or _is_rounded(steps, jitter, period)):
        signal = log.angular_velocity_rad_s if rows is None else log.angular_velocity_rad_s[rows]
        if stamps_are_true(signal, line.number, jitter / line.period_s):
            place = (stamps - line.start_s) / line.period_s
    start_s = line.start_s + float(place[0]) * line.period_s
    if place is not line.number:
        place = place - place[0]
    _refuse_to_and_fro(log, goes_on=bool(place.min() >= -0.5 and place.max() <= place[-1] + 0.5))
    return Instants(rows, start_s, line.period_s, place, line.number, _rms(jitter), duplicates)


def _line(stamps: NDArray[np.float64], steps: NDArray[np.float64], period: float, bridge_s: float) -> Line:
    """Count samples and fit, again while the fit changes the period that the count relied upon."""
    for _ in range(RECOUNTS):
        number, gap_s = _numbers(stamps, steps, period)
        line = fit_line(stamps, number, np.flatnonzero(steps > max(bridge_s + period, gap_s)) + 1)
        if abs(line.period_s - period) <= SAME_PERIOD * period or line.period_s <= 0:
            break
        period = line.period_s
    return line


def stamps_are_true(
    signal: NDArray[np.float64], number: NDArray[np.float64], deviation: NDArray[np.float64]
) -> bool:
    """Tell whether samples were taken when their stamps say, or evenly.

    Parameters
    ----------
    signal : ndarray, shape (n, 3)
        A smooth signal of any unit.
    number : ndarray, shape (n,)
        Sample numbers.
    deviation : ndarray, shape (n,)
        Stamps' deviation from an even rate, in periods.

    Notes
    -----
    A sample taken late by d differs from the mean of its neighbours by d times the slope. The
    regression of the one on the other has slope 1 where stamps are true and 0 where the sampling
    is even; curvature does not depend on d and averages out. The nearer one counts. Where the
    jitter is too small to tell, it is too small to matter, and the samples are left as they are. The slope's standard
    error is that of White 1980 (Econometrica 48:817-838): blows are rare and large.
    """
    before = _liveliest(signal[: len(number) - 2])
    at, after = before + 1, before + 2
    inner = np.abs(number[after] - number[before] - 2) < 0.5
    inner &= np.isfinite(signal[after] + signal[at] + signal[before]).all(axis=1)
    departure = (signal[at] - 0.5 * (signal[after] + signal[before]))[inner]
    late = (deviation[at] - 0.5 * (deviation[after] + deviation[before]))[inner]
    expected = 0.5 * (signal[after] - signal[before])[inner] * late[:, None]
    power = float((expected**2).sum())
    slope = float((expected * departure).sum()) / power if power > 0 else 0.0
    error = float(np.linalg.norm((expected * (departure - slope * expected)).sum(axis=1)))
    return slope > 0.5 and error < 0.5 * power


def _liveliest(signal: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the rows of the stretches over which the signal changes most; all rows of a log shorter than two stretches."""
    if len(signal) < 2 * ASKED_STRETCH:
        return np.arange(len(signal))
    change = np.nan_to_num(np.abs(np.diff(signal[::ASKED_STRETCH], axis=0)).sum(axis=1))
    most = np.argsort(change)[-(ASKED_ROWS // ASKED_STRETCH) :]
    lively = np.sort(most[change[most] >= LIVELY_SHARE * change[most[-1]]])
    return (lively[:, None] * ASKED_STRETCH + np.arange(ASKED_STRETCH)).ravel()


def _rows(log: SensorLog) -> tuple[NDArray[np.intp] | None, int]:
    """Rows that have a time and count (None: all), and how many duplicates were left out."""
    stamped = np.isfinite(log.time_s)
    rows = None if stamped.all() else np.flatnonzero(stamped)
    stamps = log.time_s if rows is None else log.time_s[rows]
    again = np.flatnonzero(stamps[1:] == stamps[:-1]) + 1
    if not len(again):
        return rows, 0
    this, before = (again, again - 1) if rows is None else (rows[again], rows[again - 1])
    alike = np.ones(len(again), dtype=bool)
    for values in (log.acceleration_m_s2, log.angular_velocity_rad_s):
        alike &= ((values[this] == values[before]) | np.isnan(values[this])).all(axis=1)
    if _are_coarse(again[~alike], len(stamps)):
        dropped = again[:0] if len(again) >= COARSE_SHARE * len(stamps) else again[alike]
    else:
        dropped = again
    kept = np.delete(np.arange(len(stamps)) if rows is None else rows, dropped)
    return kept, len(dropped)


def _are_coarse(repeated: NDArray[np.intp], count: int) -> bool:
    """Tell coarse stamps, which repeat often or regularly under new samples, from rows written twice."""
    if len(repeated) < 3:
        return False
    spacing = np.diff(repeated)
    return len(repeated) >= COARSE_SHARE * count or bool(spacing.std() <= 0.3 * spacing.mean())


def _rms(residual: NDArray[np.float64]) -> float:
    return float(np.sqrt(np.einsum("n,n", residual, residual) / len(residual)))


def _scatter(steps: NDArray[np.float64]) -> float:
    """Standard deviation of the steps [s], untouched by holes."""
    steps = steps[:: max(1, len(steps) // ASKED_ROWS)]
    return 1.4826 * float(np.median(np.abs(steps - np.median(steps))))


def _refuse_backwards(
    log: SensorLog, rows: NDArray[np.intp] | None, steps: NDArray[np.float64], period: float
) -> None:
    if steps.min() >= 0:
        return
    limit = max(period - SCATTER_SIGMA * _scatter(steps), -BACKWARD_PERIODS * abs(period))
    if steps.min() > min(limit, 0.0):
        return
    at = int(np.argmax(steps <= min(limit, 0.0))) + 1
    row, before = (at, at - 1) if rows is None else (int(rows[at]), int(rows[at - 1]))
    message = (
        f"{log.source}: time runs backwards at row {row + 1}: found {log.time_s[row]:.15g} s after "
        f"{log.time_s[before]:.15g} s; wanted rising time stamps; cut the file there or repair the column"
    )
    raise SignalQualityError(message)


def _refuse_to_and_fro(log: SensorLog, *, goes_on: bool) -> None:
    """Small steps back may still add up to a time that does not go on as a whole."""
    if goes_on:
        return
    message = (
        f"{log.source}: the time stamps go to and fro over the whole file; wanted rising time stamps; "
        "is this the time column, and one recording?"
    )
    raise SignalQualityError(message)


def _numbers(
    stamps: NDArray[np.float64], steps: NDArray[np.float64], period: float
) -> tuple[NDArray[np.float64], float]:
    """Sample numbers with lost samples counted, and the step above which samples may be lost [s]."""
    usual = period if steps.min() > 0 else max(period, float(np.median(steps[steps > 0])))
    number = np.arange(len(stamps), dtype=np.float64)
    suspects = np.flatnonzero(steps > LOST_STEP * usual)
    if not len(suspects):
        return number, LOST_STEP * usual
    scatter = _scatter(steps) / period
    if usual == period and scatter < CLEAR_SCATTER:
        lost = np.rint(steps[suspects] / period) - 1
    else:
        context = int(np.clip((CONTEXT_FACTOR * scatter) ** 2, *CONTEXT_LIMITS))
        context = min(context * max(1, round(usual / period)), len(stamps))
        reach = np.arange(context)
        excess = stamps / period - number
        after = np.median(excess[np.minimum(suspects[:, None] + 1 + reach, len(stamps) - 1)], axis=1)
        before = np.median(excess[np.maximum(suspects[:, None] - reach, 0)], axis=1)
        lost = np.maximum(np.rint(after - before), 0)
    jumps = np.zeros(len(stamps))
    jumps[suspects + 1] = lost
    return number + np.cumsum(jumps), LOST_STEP * usual


def _is_rounded(steps: NDArray[np.float64], jitter: NDArray[np.float64], period: float) -> bool:
    """Tell even sampling with rounded stamps: two neighbouring steps only, within one rounding of the line."""
    inner = steps[steps <= LOST_STEP * period]
    low, high = float(inner.min()), float(inner.max())
    rounding = high - low
    off = np.minimum(inner - low, high - inner)
    return bool(off.max() <= 0.05 * rounding and np.ptp(jitter) <= 1.25 * rounding)
