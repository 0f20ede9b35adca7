"""Join clocks by the shared shocks before and after a run.

Both heels raised and dropped at once give a spike on every sensor of both feet. Spikes are found
on each sensor, the lag that matches most of them is taken, each matched pair is timed by the
onset of its waveform, and a straight line through the pairs gives offset and drift. Event trains
with missing events: compare Schranz 2024 ("Nearest Advocate").
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.kinematics import Clock

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from imustride.kinematics import Cut
    from imustride.recording import Recording


@dataclass(frozen=True, slots=True)
class ShockSettings:
    """Limits of the shock search (common practice, no source, unless said)."""

    smallest_shock_m_s2: float = 6.0
    shocks_kept: int = 8
    refractory_s: float = 0.15
    start_difference_s: float = 1.5  # the two feet start to move within this time
    match_tolerance_s: float = 0.02
    largest_drift: float = 150e-6  # quartz to 60 ppm and cold: REFERENCES section 6
    undetermined_drift_sd: float = 40e-6
    shortest_baseline_s: float = 6.0
    window_s: float = 0.04


def sharpness(recording: Recording) -> NDArray[np.float64]:
    """Size of the change of specific force from one sample to the next but one [m/s^2], shape (n,)."""
    acceleration = recording.acceleration_m_s2
    reach = max(round(0.004 * recording.rate_hz), 1)
    change = np.zeros(len(acceleration))
    change[reach:] = np.linalg.norm(acceleration[reach:] - acceleration[:-reach], axis=1)
    change[~recording.measured] = 0.0
    return change


def find_shocks(recording: Recording, motion_s: tuple[float, float], settings: ShockSettings) -> NDArray:
    """Return times [s, own clock] and sizes of the sharpest spikes outside the motion, shape (k, 2)."""
    change = sharpness(recording)
    time = recording.time_s
    found: list[tuple[float, float]] = []
    for outside in (time < motion_s[0], time > motion_s[1]):
        left = np.where(outside, change, 0.0)
        for _ in range(settings.shocks_kept):
            peak = int(np.argmax(left))
            if left[peak] < settings.smallest_shock_m_s2:
                break
            found.append((time[peak], left[peak]))
            left[np.abs(time - time[peak]) < settings.refractory_s] = 0.0
    return np.array(sorted(found)).reshape(-1, 2)


def match(
    one: NDArray, other: NDArray, lag_s: float, settings: ShockSettings
) -> tuple[float, list[tuple[int, int]]]:
    """Pair the spikes of two sensors at an assumed lag; return the score and the pairs."""
    if len(one) == 0 or len(other) == 0:
        return 0.0, []
    gap = np.abs(one[:, None, 0] - other[None, :, 0] - lag_s)
    nearest = gap.argmin(axis=1)
    pairs = [
        (i, int(j))
        for i, j in enumerate(nearest)
        if gap[i, j] < settings.match_tolerance_s and gap[:, j].argmin() == i
    ]
    score = sum(np.log1p(min(one[i, 1], other[j, 1])) * (1 - gap[i, j] / settings.match_tolerance_s) for i, j in pairs)
    return float(score), pairs


def best_pairs(one: NDArray, other: NDArray, coarse_s: float, settings: ShockSettings) -> list[tuple[int, int]]:
    """Return the pairs of spikes at the lag that matches most of them."""
    if len(one) == 0 or len(other) == 0:
        return []
    lags = (one[:, None, 0] - other[None, :, 0]).ravel()
    lags = lags[np.abs(lags - coarse_s) < settings.start_difference_s]
    scored = [match(one, other, lag, settings) for lag in lags]
    return max(scored, key=lambda item: item[0])[1] if scored else []


def onset_lag(one: Recording, other: Recording, at_one: float, at_other: float, settings: ShockSettings) -> float:
    """Time on `one`'s clock minus time on `other`'s clock of one shared shock [s].

    The specific-force norms around the spike are laid over each other on a fine grid: first by
    the half-height of their rise, then by the best overlap of the whole waveform.
    """
    fine = np.arange(-settings.window_s, settings.window_s, 1e-4)
    first, second = (
        waveform(recording, at_s + fine) for recording, at_s in ((one, at_one), (other, at_other))
    )
    overlap = np.correlate(first, second, "full")
    lag = (np.argmax(overlap) - (len(fine) - 1)) * 1e-4
    return at_one - at_other + float(lag)


def waveform(recording: Recording, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Size of the specific force's deviation from rest at given times, unit energy."""
    low = recording.index(times_s[0]) - 2
    high = recording.index(times_s[-1]) + 3
    low = max(low, 0)
    piece = recording.acceleration_m_s2[low:high]
    deviation = np.linalg.norm(piece - np.median(piece, axis=0), axis=1)
    curve = np.interp(times_s, recording.time_s[low:high], deviation)
    curve = curve - np.median(curve)
    return curve / (np.linalg.norm(curve) + 1e-12)


def join(one: Recording, other: Recording, cuts: tuple[Cut, Cut], settings: ShockSettings) -> Clock:
    """Return the map from `other`'s clock to `one`'s."""
    shocks = [
        find_shocks(recording, cut.motion_s, settings)
        for recording, cut in zip((one, other), cuts, strict=True)
    ]
    coarse = cuts[0].motion_s[0] - cuts[1].motion_s[0]
    pairs = best_pairs(shocks[0], shocks[1], coarse, settings)
    if not pairs:
        return Clock(joined=False)
    at_other = np.array([shocks[1][j, 0] for _, j in pairs])
    lags = np.array([onset_lag(one, other, shocks[0][i, 0], shocks[1][j, 0], settings) for i, j in pairs])
    middle = float(np.mean(cuts[1].motion_s))
    return fit_clock(at_other, lags, middle, max(1 / one.rate_hz, 1 / other.rate_hz), settings)


def fit_clock(
    at_s: NDArray[np.float64], lag_s: NDArray[np.float64], middle_s: float, period_s: float, settings: ShockSettings
) -> Clock:
    """Fit offset and drift through timed shocks, weighing out what does not fit."""
    before, after = at_s < middle_s, at_s > middle_s
    timing_sd = 0.4 * period_s
    if before.any() and after.any() and np.ptp(at_s) > settings.shortest_baseline_s:
        early, late = np.median(lag_s[before]), np.median(lag_s[after])
        early_at, late_at = at_s[before].mean(), at_s[after].mean()
        drift = (late - early) / (late_at - early_at)
        if abs(drift) < settings.largest_drift + 2 * timing_sd / (late_at - early_at):
            offset = early + drift * (middle_s - early_at)
            return Clock(float(offset), float(drift), middle_s, float(timing_sd / np.sqrt(len(at_s))))
        # The two ends contradict each other: trust the end with more shocks.
        keep = before if before.sum() >= after.sum() else after
        at_s, lag_s = at_s[keep], lag_s[keep]
    distance = abs(float(at_s.mean()) - middle_s)
    spread = np.hypot(timing_sd / np.sqrt(len(at_s)), settings.undetermined_drift_sd * distance)
    return Clock(float(np.median(lag_s)), 0.0, middle_s, float(spread))


def synchronise(
    recordings: Mapping[str, Recording],
    cuts: Mapping[str, Cut],
    reference: str,
    settings: ShockSettings | None = None,
) -> dict[str, Clock]:
    """Return for each place the map from its own clock to the clock of `reference`.

    Parameters
    ----------
    recordings : mapping of place to Recording
    cuts : mapping of place to Cut, own clocks
    reference : str
        Place whose clock counts.
    settings : ShockSettings, optional

    Returns
    -------
    dict of place to Clock
        `joined` is False where no shared shock was found.
    """
    settings = settings or ShockSettings()
    one = recordings[reference]
    return {
        place: Clock()
        if place == reference
        else join(one, recording, (cuts[reference], cuts[place]), settings)
        for place, recording in recordings.items()
    }
