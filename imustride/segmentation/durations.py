"""The most likely course of contacts and swings, given evidence a sample and how long each lasts.

A semi-Markov chain of two states. A boundary can only lie where the evidence changes sign, which
leaves some ten candidates a second; the best path through them is found exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.segmentation.averages import smoothed

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class DurationSettings:
    """Durations of contact and swing in skating (wide; REFERENCES: contact 0.25 to 0.7 s in sprints).

    Log-normal with median and spread of the logarithm, and a hard shortest duration.
    """

    contact_median_s: float = 0.40
    swing_median_s: float = 0.32
    spread_log: float = 0.55
    shortest_contact_s: float = 0.10
    shortest_swing_s: float = 0.08
    longest_s: float = 2.5
    weight: float = 1.0
    smoothing_s: float = 0.02
    smallest_gain: float = 0.3


def log_prior(
    duration_s: NDArray[np.float64], median_s: float, shortest_s: float, settings: DurationSettings
) -> NDArray[np.float64]:
    """Log of the relative probability of durations; minus infinity below the shortest."""
    safe = np.maximum(duration_s, 1e-6)
    away = np.log(safe / median_s) / settings.spread_log
    return np.where(duration_s >= shortest_s, -0.5 * settings.weight * away**2, -np.inf)


def contacts(
    odds: NDArray[np.float64], rate_hz: float, settings: DurationSettings
) -> list[tuple[int, int | None]]:
    """Return the contacts (from, to) in samples; the first begins standing, the last has no end.

    Parameters
    ----------
    odds : ndarray, shape (n,)
        Log odds a sample of contact against swing.
    rate_hz : float
    settings : DurationSettings

    Returns
    -------
    list of (int, int or None)
        Half-open; ``None`` where the blade is still on the ice at the end.
    """
    soft = smoothed(odds, round(settings.smoothing_s * rate_hz))
    rises = np.flatnonzero((soft[1:] > 0) & (soft[:-1] <= 0)) + 1
    falls = np.flatnonzero((soft[1:] <= 0) & (soft[:-1] > 0)) + 1
    total = np.concatenate(([0.0], np.cumsum(odds)))
    turns = worth_turning(np.sort(np.concatenate((rises, falls))), total, settings)
    rising = np.isin(turns, rises)
    return best_path(turns[rising], turns[~rising], total, rate_hz, settings)


def worth_turning(
    turns: NDArray[np.int64], total: NDArray[np.float64], settings: DurationSettings
) -> NDArray[np.int64]:
    """Leave out pairs of sign changes with hardly any evidence between them; what remains alternates."""
    for _ in range(3):
        gain = np.abs(np.diff(total[turns]))
        if len(gain) < 3:
            break
        least = np.minimum(np.append(gain[1:], np.inf), np.insert(gain[:-1], 0, np.inf))
        small = (gain < settings.smallest_gain) & (gain < least)
        keep = np.ones(len(turns), bool)
        keep[:-1] &= ~small
        keep[1:] &= ~small
        turns = turns[keep]
    return turns


def best_path(
    rises: NDArray[np.int64],
    falls: NDArray[np.int64],
    total: NDArray[np.float64],
    rate_hz: float,
    settings: DurationSettings,
) -> list[tuple[int, int | None]]:
    """Dynamic programme over the candidates; `total` is the running sum of the evidence."""
    on_score = np.full(len(rises), -np.inf)
    off_score = np.full(len(falls), -np.inf)
    on_from = np.full(len(rises), -1)
    off_from = np.full(len(falls), -1)  # -1: from standing
    reach = round(settings.longest_s * rate_hz)
    # Candidates of both kinds alternate, so one pass in order of time sees every predecessor first.
    order = sorted(
        [(int(at), 0, k) for k, at in enumerate(rises)] + [(int(at), 1, k) for k, at in enumerate(falls)]
    )
    for at, is_fall, k in order:
        if is_fall:
            low, high = np.searchsorted(rises, (at - reach, at))
            before = slice(low, high)
            length = (at - rises[before]) / rate_hz
            prior = log_prior(length, settings.contact_median_s, settings.shortest_contact_s, settings)
            scores = on_score[before] + 0.5 * (total[at] - total[rises[before]]) + prior
            off_score[k] = 0.5 * total[at]
            best = int(scores.argmax()) if scores.size else -1
            if best >= 0 and scores[best] > off_score[k]:
                off_score[k], off_from[k] = scores[best], low + best
        else:
            low, high = np.searchsorted(falls, (at - reach, at))
            before = slice(low, high)
            length = (at - falls[before]) / rate_hz
            prior = log_prior(length, settings.swing_median_s, settings.shortest_swing_s, settings)
            scores = off_score[before] - 0.5 * (total[at] - total[falls[before]]) + prior
            if scores.size:
                best = int(scores.argmax())
                on_score[k], on_from[k] = scores[best], low + best
    return trace_back(rises, falls, (on_score, on_from, off_from), total)


def trace_back(
    rises: NDArray[np.int64],
    falls: NDArray[np.int64],
    table: tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]],
    total: NDArray[np.float64],
) -> list[tuple[int, int | None]]:
    """Follow the best path back from the contact that lasts to the end."""
    on_score, on_from, off_from = table
    ends = on_score + 0.5 * (total[-1] - total[rises]) if len(rises) else np.array([])
    if not ends.size or 0.5 * total[-1] >= ends.max():
        return [(0, None)]
    k = int(ends.argmax())
    path: list[tuple[int, int | None]] = [(int(rises[k]), None)]
    while k >= 0:
        j = int(on_from[k])
        k = int(off_from[j])
        path.append((int(rises[k]) if k >= 0 else 0, int(falls[j])))
    return path[::-1]
