"""The most likely course of contacts and swings, given evidence a sample and how long each lasts.

A semi-Markov chain of two states. A boundary can only lie where the evidence changes sign, which
leaves some ten candidates a second; the best path through them is found exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import inf
from operator import add
from typing import TYPE_CHECKING

import numpy as np

from imustride.segmentation.averages import smoothed
from imustride.segmentation.counting import sample_count

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
    soft = smoothed(odds, sample_count(settings.smoothing_s, rate_hz))
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


@dataclass(frozen=True, eq=False, slots=True)
class Steps:
    """What it gains to come to each candidate from each possible predecessor, as plain lists.

    Some ten predecessors a candidate are too few for an array each: lists are several times faster.

    Parameters
    ----------
    low : list of int
        First possible predecessor of each candidate.
    gain : list of list of float
        Log likelihood of the stretch from each predecessor, in turn, to the candidate.
    """

    low: list[int]
    gain: list[list[float]]


def steps(
    candidates: NDArray[np.int64],
    predecessors: NDArray[np.int64],
    total: NDArray[np.float64],
    share: float,
    usual_s: tuple[float, float],
    rate_hz: float,
    settings: DurationSettings,
) -> Steps:
    """Weigh all stretches between predecessors and candidates.

    Parameters
    ----------
    candidates, predecessors : ndarray of int
        Samples.
    total : ndarray, shape (n + 1,)
        Running sum of the evidence for contact.
    share : float
        What of it speaks for the state in between: a half for contact, less a half for swing.
    usual_s : tuple
        Median and shortest duration of that state [s].
    rate_hz : float
    settings : DurationSettings
    """
    reach = sample_count(settings.longest_s, rate_hz)
    low = np.searchsorted(predecessors, candidates - reach)
    count = np.searchsorted(predecessors, candidates) - low
    last = np.cumsum(count)
    end = np.repeat(candidates, count)
    begin = predecessors[np.arange(len(end)) - np.repeat(last - count - low, count)]
    gain = share * (total[end] - total[begin])
    gain += log_prior((end - begin) / rate_hz, *usual_s, settings)
    flat, bounds = gain.tolist(), [0, *last.tolist()]
    return Steps(low.tolist(), [flat[a:b] for a, b in pairwise(bounds)])


def best_path(
    rises: NDArray[np.int64],
    falls: NDArray[np.int64],
    total: NDArray[np.float64],
    rate_hz: float,
    settings: DurationSettings,
) -> list[tuple[int, int | None]]:
    """Dynamic programme over the candidates; `total` is the running sum of the evidence."""
    contact = (settings.contact_median_s, settings.shortest_contact_s)
    swing = (settings.swing_median_s, settings.shortest_swing_s)
    to_fall = steps(falls, rises, total, 0.5, contact, rate_hz, settings)
    to_rise = steps(rises, falls, total, -0.5, swing, rate_hz, settings)
    standing = (0.5 * total[falls]).tolist()
    on_score: list[float] = []
    off_score: list[float] = []
    on_from: list[int] = []
    off_from: list[int] = []  # -1: from standing
    is_rise = np.zeros(len(rises) + len(falls), bool)
    is_rise[np.searchsorted(falls, rises) + np.arange(len(rises))] = True
    # One pass in order of time sees every predecessor first.
    for rise in is_rise.tolist():
        if rise:
            score, origin = best_step(to_rise, len(on_score), off_score)
            on_score.append(score)
            on_from.append(origin)
        else:
            score, origin = best_step(to_fall, len(off_score), on_score)
            stood = standing[len(off_score)]
            off_score.append(max(score, stood))
            off_from.append(origin if score > stood else -1)
    return trace_back(rises, falls, (np.array(on_score), on_from, off_from), total)


def best_step(to: Steps, candidate: int, scores: list[float]) -> tuple[float, int]:
    """Return the best score of a candidate and the predecessor it comes from; -inf and -1 without any."""
    low, gain = to.low[candidate], to.gain[candidate]
    sums = list(map(add, scores[low : low + len(gain)], gain))
    if not sums:
        return -inf, -1
    best = max(sums)
    return best, low + sums.index(best)


def trace_back(
    rises: NDArray[np.int64],
    falls: NDArray[np.int64],
    table: tuple[NDArray[np.float64], list[int], list[int]],
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
        j = on_from[k]
        k = off_from[j]
        path.append((int(rises[k]) if k >= 0 else 0, int(falls[j])))
    return path[::-1]
