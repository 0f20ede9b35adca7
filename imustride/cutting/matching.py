"""Match runs found in a log to the lines of the day's list, in order; say where that is a guess.

Both are in order of time. The cheapest way to lay one on the other is found by dynamic programming (Needleman and
Wunsch 1970): a pair costs what speaks against it (a sprint shorter than its gate time, a gap to the pair before that
is another than on the clock of the list, no shocks), and so does whatever stays over. Then every pair is forbidden
in turn: where another way is nearly as cheap, the pair is a guess, and is not made.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from imustride.cutting.finding import Candidate


@dataclass(frozen=True, slots=True)
class MatchingSettings:
    """Costs are squared deviations in standard deviations (common practice, no source)."""

    # Pushing begins behind the first gate and goes on behind the last, each skater in an own way that comes again in
    # every run: only what lies outside speaks against a pair (simulated: 0.4 to 4.3 s).
    push_on_s: tuple[float, float] = (0.0, 4.5)
    push_on_sd_s: float = 1.0
    gap_sd_s: float = 60.0  # of times in minutes, as planned or noted
    gap_seconds_sd_s: float = 15.0  # of times with seconds
    most: float = 9.0  # for one deviation: a list that lags behind the evening is still in order
    no_shocks: float = 3.0
    most_without_shocks: float = 25.0  # a motion without shocks is a run only where its time fits
    run_over: float = 12.0
    line_over: float = 16.0
    guess: float = 6.0  # another way must cost so much more


@dataclass(frozen=True, slots=True)
class Wanted:
    """A line of the list: when it was on the list's clock [s], its gate time [s]; `candidate` where it is said."""

    at_s: float
    gate_time_s: float | None = None
    candidate: int | None = None


@dataclass(frozen=True, slots=True)
class Match:
    """What was decided for one line: its candidate; None where there is none, or it would be a guess among `choices`."""

    candidate: int | None
    choices: tuple[int, ...] = ()


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
    costs = _Costs(wanted, found, has_seconds=has_seconds, settings=settings)
    best, pairs = costs.cheapest()
    costs.keep_below(best + settings.guess)
    matches = []
    for line, one in enumerate(wanted):
        candidate = pairs.get(line)
        other, otherwise = costs.cheapest(without=(line, candidate))
        if one.candidate is not None or other - best >= settings.guess:
            matches.append(Match(candidate))
            continue
        choices = {place for place in (candidate, otherwise.get(line)) if place is not None}
        matches.append(Match(None, tuple(sorted(choices))))
    return matches


class _Costs:
    """Costs of pairs and of gaps between them, and the cheapest way through."""

    def __init__(
        self,
        wanted: Sequence[Wanted],
        found: Sequence[Candidate],
        *,
        has_seconds: bool,
        settings: MatchingSettings,
    ) -> None:
        self.settings = settings
        self.pair = np.array([[self._pair(line, run) for run in found] for line in wanted])
        self.may_stay_over = np.array([line.candidate is None for line in wanted])
        for line, one in enumerate(wanted):
            if one.candidate is not None:
                self.pair[:, one.candidate] = np.inf
                self.pair[line, :] = np.inf
                self.pair[line, one.candidate] = 0.0
        self.at_s = np.array([line.at_s for line in wanted])
        self.start_s = np.array([run.start_s for run in found])
        self.sd_s = settings.gap_seconds_sd_s if has_seconds else settings.gap_sd_s
        self.most = np.where([run.is_sure for run in found], settings.most, settings.most_without_shocks)
        over = [settings.run_over if run.is_sure else 0.0 for run in found]
        self.runs_over = np.concatenate(([0.0], np.cumsum(over)))

    def _pair(self, line: Wanted, run: Candidate) -> float:
        settings = self.settings
        cost = 0.0 if run.is_sure else settings.no_shocks
        if line.gate_time_s is None:
            return cost
        if run.stop_s - run.start_s < line.gate_time_s:
            return float("inf")
        push_on_s = run.sprint_s - line.gate_time_s
        deviation = (push_on_s - float(np.clip(push_on_s, *settings.push_on_s))) / settings.push_on_sd_s
        return cost + min(deviation**2, settings.most)

    def cheapest(self, without: tuple[int, int | None] | None = None) -> tuple[float, dict[int, int]]:
        """Return the lowest cost and its pairs; `without` one pair, or without a line that stays over."""
        pair, may_stay_over = self.pair, self.may_stay_over
        if without is not None:
            pair = pair.copy()
            line, candidate = without
            if candidate is None:
                may_stay_over = may_stay_over & (np.arange(len(pair)) != line)
            else:
                pair[line, candidate] = np.inf
        return self._traced(*self._totals(pair, may_stay_over))

    def keep_below(self, limit: float) -> None:
        """Rule out every pair through which no way is cheaper than a limit: what is left is quickly gone through again."""
        back = copy(self)
        back.pair, back.may_stay_over = self.pair[::-1, ::-1], self.may_stay_over[::-1]
        back.at_s, back.start_s, back.most = -self.at_s[::-1], -self.start_s[::-1], self.most[::-1]
        back.runs_over = np.concatenate(([0.0], np.cumsum(np.diff(self.runs_over)[::-1])))
        there, _, _ = self._totals(self.pair, self.may_stay_over)
        behind, _, _ = back._totals(back.pair, back.may_stay_over)  # noqa: SLF001 - a copy of this one
        with np.errstate(invalid="ignore"):  # what is ruled out stays so
            through = there + behind[::-1, ::-1] - self.pair
        self.pair = np.where(through < limit, self.pair, np.inf)

    def _totals(
        self, pair: NDArray[np.float64], may_stay_over: NDArray[np.bool_]
    ) -> tuple[NDArray[np.float64], NDArray[np.intp], NDArray[np.float64]]:
        """Cheapest cost of ways that end with each pair, and the pair before it, -1 for none; costs of lines left over."""
        over = self._lines_over(may_stay_over)
        count, runs = pair.shape
        total = np.full((count, runs), np.inf)
        before = np.full((count, runs), -1)
        for line in range(count):
            for run in np.flatnonzero(np.isfinite(pair[line])):
                alone = over[0, line] + self.runs_over[run]
                total[line, run] = alone
                if line and run:
                    ways = self._ways(total, over, line, int(run))
                    at = int(np.argmin(ways))
                    if ways.flat[at] < alone:
                        total[line, run], before[line, run] = ways.flat[at], at // run * runs + at % run
                total[line, run] += pair[line, run]
        return total, before, over

    def _lines_over(self, may_stay_over: NDArray[np.bool_]) -> NDArray[np.float64]:
        """Cost of leaving over the lines from the first to before the second index, shape (lines + 1, lines + 1)."""
        count = np.arange(len(may_stay_over) + 1)
        bound = np.concatenate(([0], np.cumsum(~may_stay_over)))
        cost = self.settings.line_over * np.maximum(count[None, :] - count[:, None], 0)
        return np.where(bound[None, :] > bound[:, None], np.inf, cost)

    def _ways(
        self, total: NDArray[np.float64], over: NDArray[np.float64], line: int, run: int
    ) -> NDArray[np.float64]:
        """Costs of coming from every earlier pair, shape (line, run)."""
        gap_s = (self.start_s[run] - self.start_s[:run])[None, :] - (self.at_s[line] - self.at_s[:line])[
            :, None
        ]
        gap = np.minimum((gap_s / self.sd_s) ** 2, np.maximum(self.most[run], self.most[:run]))
        skipped = over[1 : line + 1, line]
        return np.asarray(
            total[:line, :run]
            + gap
            + skipped[:, None]
            + (self.runs_over[run] - self.runs_over[1 : run + 1])[None, :]
        )

    def _traced(
        self, total: NDArray[np.float64], before: NDArray[np.intp], over: NDArray[np.float64]
    ) -> tuple[float, dict[int, int]]:
        count, runs = total.shape
        behind = over[1:, count]
        whole = total + behind[:, None] + (self.runs_over[-1] - self.runs_over[1:])[None, :]
        nothing = over[0, count] + self.runs_over[-1]
        at = int(np.argmin(whole))
        if not whole.flat[at] < nothing:
            return float(nothing), {}
        cost, pairs = float(whole.flat[at]), {}
        while at >= 0:
            line, run = divmod(at, runs)
            pairs[line] = run
            at = int(before[line, run])
        return cost, pairs
