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

# So many samples tell how sharp the usual change is.
MOST_QUANTILE = 100_000
# Standard deviation of one shock's lag, in sampling periods of the slower sensor (simulated).
TIMING_PERIODS = 0.4


@dataclass(frozen=True, slots=True)
class ShockSettings:
    """Limits of the shock search (common practice, no source, unless said)."""

    smallest_shock_m_s2: float = 3.0
    noise_multiple: float = 12.0
    shocks_kept: int = 8
    refractory_s: float = 0.15
    rebound_s: float = 0.04  # a rebound may be sharper than the blow itself
    onset_share: float = 0.35
    start_difference_s: float = 1.5  # the two feet start to move within this time
    start_difference_sd_s: float = 0.4
    match_tolerance_s: float = 0.025
    drift_sd: float = 40e-6  # between two quartz clocks that are good to some 30 ppm each
    window_s: float = 0.04
    guard_s: float = 0.2
    least_agreement: float = 0.5  # correlation of the two sensors' waveforms around shared shocks
    single_agreement: float = 0.85
    group_s: float = 0.25
    group_lag_s: float = 0.15


def sharpness(recording: Recording) -> NDArray[np.float64]:
    """Size of the change of specific force from one sample to the next but one [m/s^2], shape (n,)."""
    acceleration = recording.acceleration_m_s2
    reach = max(round(0.004 * recording.rate_hz), 1)
    square = np.zeros(len(acceleration))
    for axis in acceleration.T:
        square[reach:] += (axis[reach:] - axis[:-reach]) ** 2
    square[~recording.measured] = 0.0
    return np.sqrt(square, out=square)


def find_shocks(
    recording: Recording, motion_s: tuple[float, float], settings: ShockSettings
) -> NDArray[np.float64]:
    """Return times [s, own clock] and sizes of the sharpest spikes outside the motion, shape (k, 2)."""
    change = sharpness(recording)
    usual = float(np.quantile(change[:: max(len(change) // MOST_QUANTILE, 1)], 0.1))
    smallest = max(settings.smallest_shock_m_s2, settings.noise_multiple * usual)
    begin, end = ((at - recording.start_s) * recording.rate_hz for at in motion_s)
    found: list[tuple[float, float]] = []
    guard = settings.guard_s * recording.rate_hz
    # Where the motion begins and ends is known to a block only, and the log's end may cut a movement.
    before, after = (0, int(begin - guard)), (int(end + guard), len(change) - int(guard))
    for first, last in (before, after):
        if last <= first:
            continue
        found += [
            (recording.start_s + (first + onset) / recording.rate_hz, size)
            for onset, size in spikes(change[first:last], recording.rate_hz, smallest, settings)
        ]
    return np.array(sorted(found)).reshape(-1, 2)


def spikes(
    change: NDArray[np.float64], rate_hz: float, smallest: float, settings: ShockSettings
) -> list[tuple[int, float]]:
    """Return onsets [samples] and sizes of the largest spikes, largest first."""
    left = change.copy()
    apart = settings.refractory_s * rate_hz
    found: list[tuple[int, float]] = []
    while len(left) and len(found) < settings.shocks_kept:
        peak = int(np.argmax(left))
        if left[peak] < smallest:
            break
        before = slice(max(peak - round(settings.rebound_s * rate_hz), 0), peak + 1)
        onset = before.start + int(np.argmax(left[before] > settings.onset_share * left[peak]))
        found.append((onset, float(left[peak])))
        left[max(int(np.floor(peak - apart)) + 1, 0) : int(np.ceil(peak + apart))] = 0.0
    return found


def match(
    one: NDArray[np.float64], other: NDArray[np.float64], lag_s: float, settings: ShockSettings
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
    score = sum(
        np.log1p(min(one[i, 1], other[j, 1])) * (1 - gap[i, j] / settings.match_tolerance_s) for i, j in pairs
    )
    return float(score), pairs


def best_pairs(
    one: NDArray[np.float64], other: NDArray[np.float64], coarse_s: float, settings: ShockSettings
) -> list[tuple[int, int]]:
    """Return the pairs of spikes at the lag that matches most of them."""
    if len(one) == 0 or len(other) == 0:
        return []
    lags = (one[:, None, 0] - other[None, :, 0]).ravel()
    lags = lags[np.abs(lags - coarse_s) < settings.start_difference_s]
    scored = [match(one, other, lag, settings) for lag in lags]
    # Both feet begin to move at nearly the same time: that decides between shocks that look alike.
    unlikely = 0.5 * ((lags - coarse_s) / settings.start_difference_sd_s) ** 2
    best = max(range(len(lags)), key=lambda k: scored[k][0] - unlikely[k], default=None)
    return [] if best is None else scored[best][1]


def overlap_lag(
    one: Recording, other: Recording, span_s: tuple[float, float], lag_s: float, reach_s: float, step_s: float
) -> tuple[float, float]:
    """Time on `one`'s clock minus time on `other`'s at which their specific forces overlap best [s].

    Also how well they agree there, as a correlation.

    Parameters
    ----------
    one, other : Recording
    span_s : tuple
        Piece of `one` to compare, its own clock [s].
    lag_s : float
        First guess of the lag [s].
    reach_s, step_s : float
        How far from the guess to search, and how finely [s].
    """
    count, reach = round((span_s[1] - span_s[0]) / step_s), round(reach_s / step_s)
    wide = np.asarray(span_s[0] + step_s * np.arange(-reach, count + reach), dtype=np.float64)
    theirs, mine = waveform(other, wide - lag_s), waveform(one, wide[reach : reach + count])
    best = int(np.argmax(np.correlate(theirs, mine, "valid")))
    there = theirs[best : best + count]
    agreement = float(there @ mine) / (float(np.linalg.norm(there)) + 1e-12)
    return float(lag_s - (best - reach) * step_s), agreement


def waveform(recording: Recording, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Size of the specific force's deviation from rest at given times, unit energy."""
    low = max(recording.index(times_s[0]) - 2, 0)
    high = recording.index(times_s[-1]) + 3
    piece = recording.acceleration_m_s2[low:high]
    deviation = np.linalg.norm(piece - np.median(piece, axis=0), axis=1)
    known_s = recording.start_s + np.arange(low, low + len(piece)) / recording.rate_hz
    curve = np.interp(times_s, known_s, deviation)
    curve = curve - np.median(curve)
    return np.asarray(curve / (np.linalg.norm(curve) + 1e-12))


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
    at_one = np.array([shocks[0][i, 0] for i, _ in pairs])
    lag = float(np.median([shocks[0][i, 0] - shocks[1][j, 0] for i, j in pairs]))
    middle = float(np.mean(cuts[0].motion_s))
    lags, agreement = np.empty(len(pairs)), np.zeros(len(pairs))
    for group in (at_one < middle, at_one > middle):
        if group.any():
            lags[group], agreement[group] = timed_group(one, other, at_one[group], lag, settings)
    shared = agreement > (settings.least_agreement if len(pairs) > 1 else settings.single_agreement)
    if not shared.any():
        return Clock(joined=False)
    at_one, lags = at_one[shared], lags[shared]
    period_s = max(1 / one.rate_hz, 1 / other.rate_hz)
    return fit_clock(at_one - lags, lags, float(np.mean(cuts[1].motion_s)), period_s, settings)


def timed_group(
    one: Recording, other: Recording, at_s: NDArray[np.float64], lag_s: float, settings: ShockSettings
) -> tuple[NDArray[np.float64], float]:
    """Time neighbouring shocks by their waveforms.

    Parameters
    ----------
    one, other : Recording
    at_s : ndarray, shape (k,)
        Shocks of `one` on its own clock [s].
    lag_s : float
        First guess of the lag [s].
    settings : ShockSettings

    Returns
    -------
    lags_s : ndarray, shape (k,)
        Time on `one`'s clock minus time on `other`'s [s].
    agreement : float
        Correlation of the two waveforms over the whole group.
    """
    span = (at_s.min() - settings.group_s, at_s.max() + settings.group_s)
    near, agreement = overlap_lag(one, other, span, lag_s, settings.group_lag_s, 1e-3)
    spans = [(at - settings.window_s, at + settings.window_s) for at in at_s]
    return np.array([overlap_lag(one, other, span, near, 0.015, 1e-4)[0] for span in spans]), agreement


def fit_clock(
    at_s: NDArray[np.float64],
    lag_s: NDArray[np.float64],
    middle_s: float,
    period_s: float,
    settings: ShockSettings,
) -> Clock:
    """Fit offset and drift through timed shocks; the drift is held near zero as far as quartz allows."""
    timing_sd = TIMING_PERIODS * period_s
    # Least squares with a prior on the drift; the median guards the offset against one bad shock.
    lag_s = np.where(np.abs(lag_s - np.median(lag_s)) < settings.match_tolerance_s, lag_s, np.median(lag_s))
    away = at_s - middle_s
    design = np.stack((np.ones_like(away), away), axis=1)
    left = design.T @ design / timing_sd**2 + np.diag([0.0, settings.drift_sd**-2])
    covariance = np.linalg.inv(left)
    offset, drift = covariance @ (design.T @ lag_s) / timing_sd**2
    return Clock(float(offset), float(drift), middle_s, float(np.sqrt(covariance[0, 0])))


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
