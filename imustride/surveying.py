"""A log of hours, read once in blocks of which only statistics are kept."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration import read_calibration
from imustride.cutting.survey import BLOCK_S, Blocks, Survey
from imustride.errors import SignalQualityError
from imustride.loaders.blocks import load_blocks
from imustride.synchronisation.activity import shift_blocks

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from imustride.calibration.file import Correction
    from imustride.recording import SensorLog
    from imustride.session import Sensor

    # Where the reading is: words, which log, of how many.
    Told = Callable[[str, int, int], None]

# What turns by so much moves, on the skates and on the trunk alike: whether, not how much, is compared.
MOVES_RAD_S = 0.5
# Two sensors of one skater move at the same times, over an evening and in one run (simulated: skates agree by 0.8, skate
# and trunk by 0.5 at least).
LEAST_AGREEMENT = 0.4
# How far two clocks go apart in an evening, with what blocks leave over [s].
REACH_S = 2.0


@dataclass(frozen=True, slots=True)
class LongLog:
    """A log of hours and how to read it."""

    path: Path
    group: str | None
    sensor: Sensor
    calibration: Path | None = None

    @property
    def name(self) -> str:
        """What messages call it."""
        return self.path.name + (f"#{self.group}" if self.group else "")


def survey_log(log: LongLog, told: Callable[[str], None] | None = None) -> Blocks:
    """Read a log once, in blocks, and keep statistics only.

    Parameters
    ----------
    log : LongLog
    told : callable, optional
        Called with a few words as the reading goes on.

    Raises
    ------
    FileFormatError
        If the log cannot be read.
    CalibrationError
        If it is in counts and its calibration cannot be read.
    SignalQualityError
        If its clock was set back, or it holds next to nothing.
    """
    survey = Survey()
    calibration = None if log.calibration is None else read_calibration(log.calibration)
    begin_s = None
    for block in load_blocks(log.path, log.group, log.sensor):
        units = log.sensor.units
        scaled = block
        if calibration is not None and "counts" in {units.acceleration, units.angular_velocity}:
            scaled = replace(
                block,
                acceleration_m_s2=_in_units(block.acceleration_m_s2, calibration.accelerometer),
                angular_velocity_rad_s=_in_units(block.angular_velocity_rad_s, calibration.gyroscope),
            )
        survey.add(scaled)
        begin_s = _first_s(block) if begin_s is None else begin_s
        if told is not None:
            told(f"{log.name}: {max(_last_s(block) - begin_s, 0.0) / 60:.0f} min")
    try:
        return survey.blocks()
    except SignalQualityError as error:
        message = f"{log.name}: {error}"
        raise SignalQualityError(message) from error


def _in_units(values: NDArray[np.float64], correction: Correction | None) -> NDArray[np.float64]:
    if correction is None or not correction.from_counts:
        return values
    return np.asarray((values - correction.bias) @ correction.matrix.T)


def _first_s(log: SensorLog) -> float:
    return float(np.nan_to_num(log.time_s[0])) if len(log.time_s) else 0.0


def _last_s(log: SensorLog) -> float:
    return float(np.nan_to_num(log.time_s[-1])) if len(log.time_s) else 0.0


def moving(blocks: Blocks, places: NDArray[np.intp] | slice = slice(None)) -> NDArray[np.float64]:
    """How surely a sensor moves in blocks, between 0 and 1."""
    return np.asarray(np.minimum(blocks.rotation_rad_s(places) / MOVES_RAD_S, 1.0))


def lag_between_s(one: Blocks, other: Blocks) -> float:
    """Return time on `one`'s clock minus time on `other`'s, by when both sensors moved, to about half a second [s]."""
    mine, theirs = moving(one), moving(other)
    shift = shift_blocks(mine - mine.mean(), theirs - theirs.mean())
    return one.start_s - other.start_s + shift * BLOCK_S


def covers(blocks: Blocks, from_s: float, to_s: float) -> bool:
    """Tell whether a log holds most of a span on its own clock."""
    if from_s < blocks.start_s or to_s > blocks.end_s + BLOCK_S:
        return False
    return bool(blocks.measured[blocks.index(from_s) : blocks.index(to_s) + 1].mean() > 0.5)


def _at(blocks: Blocks, from_s: float, count: int) -> NDArray[np.float64]:
    """Shares of `count` blocks from a time on; 0 outside the log."""
    first = round((from_s - blocks.start_s) / BLOCK_S)
    places = np.arange(first, first + count)
    inside = (places >= 0) & (places < len(blocks.count))
    return np.where(inside, moving(blocks, np.clip(places, 0, len(blocks.count) - 1)), 0.0)


def agreement(one: Blocks, other: Blocks, lag_s: float) -> float:
    """Correlation of how much two sensors turn where both logs have something."""
    from_s = max(one.start_s, other.start_s + lag_s)
    count = int((min(one.end_s, other.end_s + lag_s) - from_s) / BLOCK_S)
    if count < 2:
        return 0.0
    return _correlation(_at(one, from_s, count), _at(other, from_s - lag_s, count))


def near_lag_s(one: Blocks, other: Blocks, lag_s: float, span_s: tuple[float, float]) -> tuple[float, float]:
    """Lag within a span that lies best, near a coarse one, and the correlation there."""
    count = round((span_s[1] - span_s[0]) / BLOCK_S)
    mine = _at(one, span_s[0], count)
    tried = [
        (_correlation(mine, _at(other, span_s[0] - lag, count)), lag)
        for lag in lag_s + BLOCK_S * np.arange(-round(REACH_S / BLOCK_S), round(REACH_S / BLOCK_S) + 1)
    ]
    best, best_s = max(tried)
    return float(best_s), best


def _correlation(one: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    one, other = one - one.mean(), other - other.mean()
    return float(one @ other / (np.linalg.norm(one) * np.linalg.norm(other) + 1e-12))


def lag_in_spans_s(one: Blocks, other: Blocks, spans_s: Sequence[tuple[float, float]]) -> float | None:
    """Lag of a sensor that others may have worn too [s]; None without spans.

    By the whole evening, and by some spans of `one` alone; what agrees better in these counts.
    """
    course = np.zeros(len(one.count))
    shares = moving(one)
    for from_s, to_s in spans_s:
        piece = slice(one.index(from_s), one.index(to_s) + 1)
        course[piece] = shares[piece] - shares[piece].mean()
    if not course.any():
        return None
    theirs = moving(other)
    in_spans_s = one.start_s - other.start_s + shift_blocks(course, theirs - theirs.mean()) * BLOCK_S
    tried = (lag_between_s(one, other), in_spans_s)
    return max(
        tried, key=lambda lag: float(np.median([near_lag_s(one, other, lag, span)[1] for span in spans_s]))
    )


def lag_at_s(one: Blocks, other: Blocks, span_s: tuple[float, float]) -> float:
    """Lag of a sensor in a span of `one`, open ends allowed, to some tenths of a second [s].

    By the whole evening where the two move together all along: a log that does not reach the span would lie best on
    another run. A sensor that others wore too is laid on the span alone.
    """
    span_s = (max(span_s[0], one.start_s), min(span_s[1], one.end_s))
    lag_s = lag_between_s(one, other)
    if span_s[1] <= span_s[0]:
        return lag_s
    if agreement(one, other, lag_s) < LEAST_AGREEMENT:
        in_span_s = lag_in_spans_s(one, other, [span_s])
        lag_s = lag_s if in_span_s is None else in_span_s
    near_s, together = near_lag_s(one, other, lag_s, span_s)
    return near_s if together > LEAST_AGREEMENT else lag_s


def sure_lag_s(one: Blocks, other: Blocks) -> float | None:
    """Lag of a sensor by the whole evening, where in the span that is wanted one of the two may not move at all [s].

    In squats skates stand still. None where the two do not move together all along (a sensor that others wore too): what lies
    best on some runs alone may be other runs. Of two runs and movements and nothing else skate and shank agree by 0.8, skate and
    head by 0.56 at least, and the lag is known to a block (simulated, 2 skaters).
    """
    lag_s = lag_between_s(one, other)
    return lag_s if agreement(one, other, lag_s) >= LEAST_AGREEMENT else None
