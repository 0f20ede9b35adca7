"""Which shocks two sensors felt together, and what that says of their clocks; nothing of quartz is assumed.

`join` in `shocks` holds the drift near zero, as good clocks deserve. Here the question is whether they are good:
the lag is measured before the run and after it, each for itself.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.kinematics import SharedShocks
from imustride.synchronisation.activity import activity_lag_s
from imustride.synchronisation.shocks import (
    TIMING_PERIODS,
    ShockSettings,
    best_pairs,
    find_shocks,
    timed_group,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.kinematics import Cut
    from imustride.recording import Recording

# Blows of two sensors this near to each other on one clock are the same blow: a step of the feet takes longer.
SAME_BLOW_S = 0.03
# A tap is so many times larger on the tapped skate; heels dropped together differ by two or three times.
LONE = 4.0
# Where nobody skates, nothing but noise hides a light tap; of 10^5 samples one exceeds its lowest tenth seven times.
TAP_NOISE_MULTIPLE = 8.0
SMALLEST_TAP_M_S2 = 1.5
# What came before a blow, the blow, the end of its ringing, from the blow on.
STRENGTH_S = (-0.06, -0.008, 0.06)


def shared_shocks(
    one: Recording, other: Recording, cuts: tuple[Cut, Cut] | None, settings: ShockSettings | None = None
) -> SharedShocks:
    """Find the shocks that two sensors share.

    Parameters
    ----------
    one, other : Recording
    cuts : tuple of Cut, or None
        Where either runs, own clocks; None where nobody skated.
    settings : ShockSettings, optional

    Returns
    -------
    SharedShocks
    """
    settings = settings or ShockSettings()
    if cuts is None:
        settings = replace(
            settings,
            start_difference_s=np.inf,
            noise_multiple=TAP_NOISE_MULTIPLE,
            smallest_shock_m_s2=SMALLEST_TAP_M_S2,
        )
    found = [
        find_shocks(recording, nothing(recording) if cut is None else cut.motion_s, settings)
        for recording, cut in zip((one, other), cuts or (None, None), strict=True)
    ]
    coarse_s = activity_lag_s(one, other) if cuts is None else cuts[0].motion_s[0] - cuts[1].motion_s[0]
    middles = [np.inf if cut is None else float(np.mean(cut.motion_s)) for cut in cuts or (None, None)]
    groups = []
    for after in (False, True):
        mine, theirs = (
            shocks[(shocks[:, 0] > middle) == after] for shocks, middle in zip(found, middles, strict=True)
        )
        groups.append(lags_of(one, other, mine, theirs, coarse_s, settings, taps=cuts is None))
    middle_s = middles[0] if np.isfinite(middles[0]) else None
    clock = told(groups, middle_s, max(1 / one.rate_hz, 1 / other.rate_hz), settings)
    if not len(clock.shared_s):
        return clock
    return replace(clock, blows=felt_by_both(one, other, found, np.concatenate(groups)))


def nothing(recording: Recording) -> tuple[float, float]:
    """Give a motion that begins when the log has ended."""
    end_s = recording.start_s + len(recording.measured) / recording.rate_hz
    return end_s, end_s


def lags_of(
    one: Recording,
    other: Recording,
    mine: NDArray[np.float64],
    theirs: NDArray[np.float64],
    coarse_s: float,
    settings: ShockSettings,
    *,
    taps: bool,
) -> NDArray[np.float64]:
    """Return times on `one`'s clock and lags of the shocks of one side of the run that are shared, shape (k, 2).

    With `taps`, blows that are much larger on one foot are taps on that skate, which the other feels faintly.
    """
    pairs = best_pairs(mine, theirs, coarse_s, settings)
    if taps:
        pairs = [(i, j) for i, j in pairs if 1 / LONE < mine[i, 1] / theirs[j, 1] < LONE]
    if not pairs:
        return np.empty((0, 2))
    at_s = np.array([mine[i, 0] for i, _ in pairs])
    lag_s = float(np.median([mine[i, 0] - theirs[j, 0] for i, j in pairs]))
    lags_s, agreement = timed_group(one, other, at_s, lag_s, settings)
    if agreement <= (settings.least_agreement if len(pairs) > 1 else settings.single_agreement):
        return np.empty((0, 2))
    return np.stack((at_s, lags_s), axis=1)


def told(
    groups: list[NDArray[np.float64]],
    middle_s: float | None,
    period_s: float,
    settings: ShockSettings,
) -> SharedShocks:
    """Offset in the middle of the run and drift, from the lags before and after it."""
    before, after = groups
    shared = np.concatenate(groups)
    timing = [TIMING_PERIODS * period_s / np.sqrt(max(len(group), 1)) for group in groups]
    drift = drift_sd = offset = offset_sd = np.nan
    if len(before) and len(after):
        apart_s = float(after[:, 0].mean() - before[:, 0].mean())
        lags = [float(np.median(group[:, 1])) for group in groups]
        drift, drift_sd = (lags[1] - lags[0]) / apart_s, float(np.hypot(*timing)) / apart_s
        offset, offset_sd = float(np.mean(lags)), 0.5 * float(np.hypot(*timing))
    elif len(shared):
        away_s = 0.0 if middle_s is None else middle_s - float(shared[:, 0].mean())
        timing_s = TIMING_PERIODS * period_s / np.sqrt(len(shared))
        offset = float(np.median(shared[:, 1]))
        offset_sd = float(np.hypot(timing_s, settings.drift_sd * away_s))
    return SharedShocks(
        shared[:, 0], np.empty((0, 3)), len(before), len(after), offset, offset_sd, drift, drift_sd
    )


def felt_by_both(
    one: Recording, other: Recording, found: list[NDArray[np.float64]], lags_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return every blow that either sensor felt: time on `one`'s clock [s], strength on either [m/s^2], shape (m, 3).

    Parameters
    ----------
    one, other : Recording
    found : list of ndarray, shape (k, 2)
        Spikes of each on its own clock.
    lags_s : ndarray, shape (k, 2)
        Times of the shared shocks on `one`'s clock and lags, in order of time.
    """
    shifts_s = np.interp(found[1][:, 0] + np.median(lags_s[:, 1]), *lags_s.T)
    times_s = np.sort(np.concatenate((found[0][:, 0], found[1][:, 0] + shifts_s)))
    times_s = times_s[np.diff(times_s, prepend=-np.inf) > SAME_BLOW_S]
    back_s = np.interp(times_s, *lags_s.T)
    sizes = [
        (strength(one, at_s), strength(other, at_s - back))
        for at_s, back in zip(times_s, back_s, strict=True)
    ]
    return np.column_stack((times_s, np.array(sizes).reshape(-1, 2)))


def strength(recording: Recording, at_s: float) -> float:
    """Return how strongly a sensor is shaken after a blow, about its mean before [m/s^2], root mean square.

    A short blow may fall between two samples; the ringing of the skate after it does not.
    """
    begin, hit, end = (recording.index(at_s + later) for later in STRENGTH_S)
    before, piece = recording.acceleration_m_s2[begin:hit], recording.acceleration_m_s2[hit:end]
    if len(before) < 2 or not len(piece):
        return 0.0
    return float(np.sqrt(((piece - before.mean(axis=0)) ** 2).sum(axis=1).mean()))
