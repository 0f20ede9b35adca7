"""Match runs found in a log to the lines of the day's list, in order; say where that is a guess.

Both are in order of time. The cheapest way to lay one on the other is found by dynamic programming (Needleman and
Wunsch 1970): a pair costs what speaks against it (a sprint shorter than its gate time, a gap to the pair before that
is another than on the clock of the list, no shocks), and so does whatever stays over. Then every pair is forbidden
in turn: where another way is nearly as cheap, the pair is a guess, and is not made.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.cutting.ways import ROUNDING, Costs, Ways, least

if TYPE_CHECKING:
    from collections.abc import Sequence

    from imustride.cutting.finding import Candidate


@dataclass(frozen=True, slots=True)
class MatchingSettings:
    """Costs are squared deviations in standard deviations, minus twice the logarithm of a probability.

    The values are common practice, no source; how often they decide wrongly: `tests/benchmark/matching.py`.
    """

    # Pushing begins behind the first gate and goes on behind the last, each skater in an own way that comes again in
    # every run: only what lies outside speaks against a pair (simulated: 0.4 to 4.3 s).
    push_on_s: tuple[float, float] = (0.0, 4.5)
    push_on_sd_s: float = 1.0
    gap_sd_s: float = 40.0  # of times in minutes, as planned or noted
    gap_seconds_sd_s: float = 15.0  # of times with seconds
    most: float = 12.0  # for one deviation: one break that the list does not know, and it is still in order
    no_shocks: float = 5.0  # eight in a hundred
    most_without_shocks: float = 25.0  # a motion without shocks is a run only where its time fits
    run_over: float = 7.0  # three in a hundred
    line_over: float = 7.0
    guess: float = 10.0  # another way must cost so much more; less than a line and a run over, or order would tell nothing
    timeless: float = 8.0  # a day on which times tell nothing: two in a hundred
    any_gap: float = 3.0  # of such a day


@dataclass(frozen=True, slots=True)
class Wanted:
    """A line of the list: when it was on the list's clock [s], its gate time [s]; `candidate` where it is said."""

    at_s: float
    gate_time_s: float | None = None
    candidate: int | None = None


@dataclass(frozen=True, slots=True)
class Match:
    """What was decided for one line: its candidate; None where there is none, or it would be a guess among `choices`.

    `by_order` tells that the times of the list had no say.
    """

    candidate: int | None
    choices: tuple[int, ...] = ()
    by_order: bool = False


def match(
    wanted: Sequence[Wanted],
    found: Sequence[Candidate],
    *,
    has_seconds: bool,
    settings: MatchingSettings | None = None,
) -> list[Match]:
    """Match lines to runs.

    Parameters
    ----------
    wanted : sequence of Wanted
        In order of time.
    found : sequence of Candidate
        In order of time, none set aside.
    has_seconds : bool
        Whether the list's times have seconds.
    settings : MatchingSettings, optional

    Returns
    -------
    list of Match
        One for each line. A run belongs to one line at most, and their order is kept.
    """
    settings = settings or MatchingSettings()
    if not wanted or not found:
        return [Match(None) for _ in wanted]
    costs = _costs(wanted, found, has_seconds=has_seconds, settings=settings)
    views = (
        _gone_through(costs, settings.guess),
        _gone_through(_timeless(costs, wanted, found, settings), settings.guess, settings.timeless),
    )
    by_order = views[1].cost < views[0].cost
    best = views[by_order]
    matches = []
    for line, one in enumerate(wanted):
        candidate = best.pairs.get(line)
        cost, run = min((view.otherwise(line, candidate) for view in views), key=lambda other: other[0])
        if one.candidate is not None or cost - best.cost >= settings.guess:
            matches.append(Match(candidate, by_order=by_order))
            continue
        choices = {place for place in (candidate, run) if place is not None}
        matches.append(Match(None, tuple(sorted(choices)), by_order))
    return matches


@dataclass(frozen=True, slots=True)
class View:
    """The cheapest way, and for every line the cheapest one in which it has another run, or has none where it has one."""

    cost: float
    pairs: dict[int, int]
    others: list[tuple[float, int | None]]

    def otherwise(self, line: int, run: int | None) -> tuple[float, int | None]:
        """Cost of the cheapest way in which a line does not have a run, and what it has there."""
        mine = self.pairs.get(line)
        return self.others[line] if mine == run else (self.cost, mine)


def _gone_through(costs: Costs, guess: float, more: float = 0.0) -> View:
    """Go through all ways that cost at most `guess` more than the cheapest; each costs `more` in the end."""
    low = least(costs)
    lowest = min(float(low.min()), costs.nothing)
    reach = guess
    while True:
        ways = Ways(costs, low <= lowest + reach + ROUNDING)
        total, came_from = ways.totals()
        best, pairs = ways.cheapest(total, came_from)
        if best + guess <= lowest + reach + ROUNDING:
            break
        # The gaps that the bounds let be free cost something. A way is found: none of interest costs more than this.
        reach = min(best + guess - lowest, 4.0 * reach)
    others = ways.within(total, best + guess).otherwise(best + guess, pairs)
    return View(best + more, pairs, [(cost + more, run) for cost, run in others])


def _timeless(
    costs: Costs, wanted: Sequence[Wanted], found: Sequence[Candidate], settings: MatchingSettings
) -> Costs:
    """Costs without the times of the list: all gaps alike, and only what has shocks, or is said, can be a run."""
    said = {line.candidate for line in wanted}
    may_be = np.array([run.is_sure or place in said for place, run in enumerate(found)])
    return replace(
        costs,
        pair=np.where(may_be, costs.pair, np.inf),
        gap_sd_s=np.inf,
        least=settings.any_gap,
        most=np.full_like(costs.most, settings.any_gap),
    )


def _costs(
    wanted: Sequence[Wanted], found: Sequence[Candidate], *, has_seconds: bool, settings: MatchingSettings
) -> Costs:
    """Costs of every pair and of what stays over."""
    is_sure = np.array([run.is_sure for run in found])
    sprint_s = np.array([run.sprint_s for run in found])
    length_s = np.array([run.stop_s - run.start_s for run in found])
    gate_time_s = np.array([np.nan if line.gate_time_s is None else line.gate_time_s for line in wanted])[
        :, None
    ]
    push_on_s = sprint_s - gate_time_s
    deviation = (push_on_s - np.clip(push_on_s, *settings.push_on_s)) / settings.push_on_sd_s
    pair = np.where(is_sure, 0.0, settings.no_shocks) + np.fmin(
        np.where(np.isnan(gate_time_s), 0.0, deviation**2), settings.most
    )
    pair[length_s < gate_time_s] = np.inf
    said = [line.candidate for line in wanted]
    for line, candidate in enumerate(said):
        if candidate is not None:
            pair[:, candidate] = np.inf
            pair[line] = np.inf
            pair[line, candidate] = 0.0
    return Costs(
        pair=pair,
        line_over=np.array([settings.line_over if one is None else np.inf for one in said]),
        run_over=np.where(is_sure, settings.run_over, 0.0),
        at_s=np.array([line.at_s for line in wanted]),
        start_s=np.array([run.start_s for run in found]),
        gap_sd_s=settings.gap_seconds_sd_s if has_seconds else settings.gap_sd_s,
        most=np.where(is_sure, settings.most, settings.most_without_shocks),
    )
