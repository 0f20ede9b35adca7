"""Shocks that both feet felt in the pauses of an evening, and which run each belongs to.

A run has two shocks before its stance and two behind its stop. Two shocks between two motions belong to one of them:
to the one that makes most runs complete over the whole evening, and else to the nearer.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from imustride.cutting.skates import FindingSettings, Skate

# What shocks at no, at one and at both ends say for a motion; being ten seconds nearer says half as much as one end.
WORTH = (0.0, 1.0, 3.0)
NEARNESS_PER_S = 0.05

Ends = tuple["NDArray[np.float64]", "NDArray[np.float64]"]


def windows_s(
    skate: Skate, start_s: float, stop_s: float, settings: FindingSettings
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Where shocks may lie: before the start and behind the stop, not across another long motion."""
    long = skate.motions[np.diff(skate.motions, axis=1)[:, 0] >= settings.shortest_run_s]
    earlier, later = long[long[:, 1] < start_s, 1], long[long[:, 0] > stop_s, 0]
    from_s = max(start_s - settings.shocks_before_s, float(earlier[-1]) if len(earlier) else -np.inf)
    to_s = min(stop_s + settings.shocks_after_s, float(later[0]) if len(later) else np.inf)
    return (from_s, start_s - settings.quiet.guard_s), (stop_s, to_s)


def shared_shocks(
    skates: Sequence[Skate],
    before_s: tuple[float, float],
    after_s: tuple[float, float],
    settings: FindingSettings,
) -> NDArray[np.float64]:
    """Times of the spikes that both feet felt; of one foot alone, of those in pairs. At least two, or none."""
    spans = (before_s, after_s)
    mine, *others = [
        _within(skate.spikes[:, 0], spans, settings.residual_s * (n > 0)) for n, skate in enumerate(skates)
    ]
    if not others:
        near = np.diff(mine, prepend=-np.inf, append=np.inf)
        mine = mine[np.minimum(near[:-1], near[1:]) < 0.1 * settings.shocks_before_s]
    elif len(mine) and len(others[0]):
        gaps = (mine[:, None] - others[0][None, :]).ravel()
        gaps = gaps[np.abs(gaps) <= settings.residual_s]
        shared = [
            np.abs(mine[:, None] - others[0][None, :] - gap).min(axis=1) < settings.same_shock_s
            for gap in gaps
        ]
        best = max(range(len(gaps)), key=lambda k: (int(shared[k].sum()), -abs(gaps[k])), default=None)
        mine = mine[:0] if best is None else mine[shared[best]]
    else:
        mine = mine[:0]
    return mine if len(mine) >= 2 else mine[:0]


def _within(
    times_s: NDArray[np.float64], spans: Sequence[tuple[float, float]], more_s: float
) -> NDArray[np.float64]:
    inside = [(times_s >= from_s - more_s) & (times_s <= to_s + more_s) for from_s, to_s in spans]
    return times_s[np.any(inside, axis=0)]


def given_out(
    shocks: Sequence[Ends], motions_s: Sequence[tuple[float, float]], settings: FindingSettings
) -> list[Ends]:
    """Decide for each pair of shocks between two motions whose it is.

    Parameters
    ----------
    shocks : sequence of (ndarray, ndarray)
        Shared shocks before and behind each motion [s]; those between two motions stand with both.
    motions_s : sequence of (float, float)
        Begin and end of each motion [s], in order.
    settings : FindingSettings

    Returns
    -------
    list of (ndarray, ndarray)
        Every shock with one motion at most.
    """
    if not shocks:
        return []
    kept = [list(ends) for ends in shocks]
    asked = []
    for first, second in zip(range(len(kept) - 1), range(1, len(kept)), strict=True):
        both = np.union1d(kept[first][1], kept[second][0])
        groups = np.split(both, np.flatnonzero(np.diff(both) > settings.group_s) + 1)
        if not (len(kept[first][1]) and len(kept[second][0])):
            continue
        if len(groups) > 1:
            middle_s = 0.5 * (groups[0][-1] + groups[-1][0])
            kept[first][1], kept[second][0] = both[both < middle_s], both[both >= middle_s]
        else:
            asked.append(first)
    for first in _givers(kept, asked, motions_s):
        kept[first][1] = kept[first][1][:0]
    for first in asked:
        if len(kept[first][1]):
            kept[first + 1][0] = kept[first + 1][0][:0]
    return [(before, behind) for before, behind in kept]


def _givers(
    kept: Sequence[Sequence[NDArray[np.float64]]],
    asked: Sequence[int],
    motions_s: Sequence[tuple[float, float]],
) -> list[int]:
    """Motions whose shocks behind the stop belong to the motion after: the best way through all of them."""
    # For each motion: worth so far, and who gave, if the pause behind it goes to it (0) or to the next one (1).
    ways: list[tuple[float, list[int]]] = [(0.0, []), (-np.inf, [])]
    for place, (before, behind) in enumerate(kept):
        found: list[tuple[float, list[int]]] = []
        for gives in (0, 1):
            options = []
            for taken, (worth, givers) in enumerate(ways):
                is_asked = place - 1 in asked
                has_before = bool(taken) if is_asked else len(before) > 0
                has_behind = len(behind) > 0 and not gives
                near = _nearness(before if has_before else before[:0], motions_s[place][0]) + _nearness(
                    behind if has_behind else behind[:0], motions_s[place][1]
                )
                options.append((worth + WORTH[has_before + has_behind] + near, givers + [place] * gives))
            best = max(options, key=lambda option: option[0])
            found.append(best if place in asked or not gives else (-np.inf, []))
        ways = found
    return max(ways, key=lambda way: way[0])[1]


def _nearness(shocks: NDArray[np.float64], at_s: float) -> float:
    return -NEARNESS_PER_S * float(np.abs(shocks - at_s).min()) if len(shocks) else 0.0
