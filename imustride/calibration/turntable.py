"""Finds the spans in which a turntable turned the sensor at a steady rate."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration.positions import calm_floor
from imustride.calibration.rest import calmness, spans_at, spans_where
from imustride.calibration.turns import KnownTurns, TurnSettings, refuse_clipped, rest_level, single_axes
from imustride.errors import SignalQualityError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from imustride.recording import Recording

    Floats = NDArray[np.float64]
    Spans = NDArray[np.intp]


def find_steady(
    recording: Recording,
    rpm: float,
    times_s: Sequence[tuple[float, float]] = (),
    settings: TurnSettings | None = None,
) -> KnownTurns:
    """Find the spans of a steady turntable about the sensor's axes, and the rests.

    Parameters
    ----------
    recording : Recording
        Uncalibrated: SI units by the sensor's declaration, or counts.
    rpm : float
        Turns a minute; which way round the table goes is taken from the sensor.
    times_s : sequence of (from, to)
        Times of steady turning on the recording's clock [s]; found where empty.
    settings : TurnSettings, optional

    Raises
    ------
    SignalQualityError
        If there is no rest to take the bias from, or the gyroscope is at the end of its range.
    SettingsError
        If a given time lies outside the recording.
    """
    settings = settings or TurnSettings()
    steady = _steady_spans(recording, settings)
    rates = np.array([recording.angular_velocity_rad_s[begin:end].mean(axis=0) for begin, end in steady])
    turning = _turning(recording, steady, rates, settings)
    resting = ~turning
    if not resting.any():
        message = "no rest beside the turning; wanted 2 s or more with the table at rest, before or behind, for the bias"
        raise SignalQualityError(message)
    level, level_sd = rest_level(rates[resting], steady[resting])
    spans = spans_at(recording, times_s, settings.rest) if times_s else steady[turning]
    raw = np.array([recording.angular_velocity_rad_s[begin:end].mean(axis=0) for begin, end in spans])
    raw = raw.reshape(-1, 3) - level
    axis, along, about_one = single_axes(raw, settings)
    for begin, end in spans[about_one]:
        refuse_clipped(recording, int(begin), int(end))
    known = np.sign(along) * abs(rpm) * 2 * np.pi / 60
    return KnownTurns(
        recording.start_s + spans[about_one] / recording.rate_hz,
        axis[about_one],
        raw[about_one],
        known[about_one],
        settings.table_ratio,
        level,
        level_sd,
        f"turntable at {abs(rpm):g} turns a minute",
    )


def _steady_spans(recording: Recording, settings: TurnSettings) -> Spans:
    """Find where the rate is steady: at rest, or turning."""
    calm = calmness(recording, settings.rest)
    floor = calm_floor(recording, calm, settings.rest)
    if not len(floor):
        return np.empty((0, 2), dtype=np.intp)
    usual = np.median(calm.rate, axis=0)
    size = np.linalg.norm(calm.rate - usual, axis=1)
    limit = np.maximum(settings.rest.rough_multiple * floor[1], settings.steady * size)
    return spans_where(calm, calm.shaking[:, 1] <= limit, np.inf, recording.rate_hz, settings.rest)


def _turning(recording: Recording, spans: Spans, rates: Floats, settings: TurnSettings) -> NDArray[np.bool_]:
    """Tell which spans turn.

    Notes
    -----
    Each axis turns for a part of the time only, so the median of its means is its level at rest.
    """
    if not len(spans):
        message = "the rate is nowhere steady for 1 s; wanted a turntable at a steady rate, and rest before and behind"
        raise SignalQualityError(message)
    noise = np.median([recording.angular_velocity_rad_s[begin:end].std(axis=0).max() for begin, end in spans])
    size = np.linalg.norm(rates - np.median(rates, axis=0), axis=1)
    return np.asarray(size > settings.turning_multiple * noise)
