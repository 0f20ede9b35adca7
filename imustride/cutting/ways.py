"""Ways of laying runs on lines, in order: what they cost, which is cheapest, which would be without one of its pairs.

A way is a series of pairs (line, run), both rising. It costs what its pairs do, the gap from each pair to the next, and
what stays over. Coming to every pair from every earlier one would take the fourth power of the length of an evening. So
lower bounds come first, which take its square: they let a gap be free behind a line that stays over. Only few pairs are
then left through which a cheap way may go, and what is asked of the ways is asked of those (branch and bound).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Places = NDArray[np.intp]
    # Earlier pairs, and what the gap from each costs, the lines and the runs left over between.
    Step = tuple[Places, Floats, Floats, Floats]

# Sums of the same costs in another order differ by less.
ROUNDING = 1e-6
# So many runs back a gap counts in the lower bounds: more motions in a row that are no runs are rare. This and what
# follows decides on time and memory, not on what is found.
NEAR = 32
# Lines of which a pair is forbidden at the same time: bounds the memory.
AT_ONCE = 128
# Pairs of a line looked at together: neighbours come from much the same pairs.
TOGETHER = 32


@dataclass(frozen=True, eq=False)
class Costs:
    """What ways cost.

    Parameters
    ----------
    pair : ndarray, shape (lines, runs)
        Infinite where the two cannot be one.
    line_over, run_over : ndarray, shape (lines,), (runs,)
        Of what stays over; infinite for a line that must not.
    at_s, start_s : ndarray, shape (lines,), (runs,)
        When lines and runs were [s], each on a clock of its own; rising.
    gap_sd_s : float
        Standard deviation of a gap between two runs against that between their lines [s].
    most : ndarray, shape (runs,)
        A gap between two runs costs at most the larger of theirs.
    least : float
        A gap costs at least so much.
    """

    pair: Floats
    line_over: Floats
    run_over: Floats
    at_s: Floats
    start_s: Floats
    gap_sd_s: float
    most: Floats
    least: float = 0.0

    def backwards(self) -> Costs:
        """Return the same from the end to the begin."""
        return replace(
            self,
            pair=self.pair[::-1, ::-1],
            line_over=self.line_over[::-1],
            run_over=self.run_over[::-1],
            at_s=-self.at_s[::-1],
            start_s=-self.start_s[::-1],
            most=self.most[::-1],
        )

    def gap(self, line: int, run: Places, from_line: Places, from_run: Places) -> Floats:
        """Cost of the gap to pairs of one line from earlier pairs; arrays broadcast."""
        gap_s = (self.start_s[run] - self.start_s[from_run]) - (self.at_s[line] - self.at_s[from_line])
        cost = np.minimum((gap_s / self.gap_sd_s) ** 2, np.maximum(self.most[run], self.most[from_run]))
        return np.asarray(np.maximum(cost, self.least))

    @cached_property
    def runs_over(self) -> Floats:
        """Cost of leaving over the first 0, 1, ... runs, shape (runs + 1,)."""
        return np.concatenate(([0.0], np.cumsum(self.run_over)))

    @cached_property
    def _lines_over(self) -> tuple[Floats, Places]:
        must = np.isinf(self.line_over)
        cost = np.concatenate(([0.0], np.cumsum(np.where(must, 0.0, self.line_over))))
        return cost, np.concatenate(([0], np.cumsum(must)))

    def lines_over(self, first: Places | int, to: Places | int) -> Floats:
        """Cost of leaving over the lines from one to before another; arrays broadcast."""
        cost, must = self._lines_over
        return np.where(must[to] > must[first], np.inf, cost[to] - cost[first])

    @property
    def nothing(self) -> float:
        """Cost of the way without any pair."""
        return float(self.lines_over(0, len(self.line_over)) + self.runs_over[-1])


def least(costs: Costs) -> Floats:
    """Return what ways through each pair cost at least, shape (lines, runs)."""
    there, behind = _least_to(costs), _least_to(costs.backwards())[::-1, ::-1]
    return np.where(
        np.isinf(costs.pair), np.inf, there + behind - np.where(np.isinf(costs.pair), 0.0, costs.pair)
    )


def _least_to(costs: Costs) -> Floats:
    """Return what ways that end with each pair cost at least, shape (lines, runs)."""
    lines, runs = costs.pair.shape
    over = costs.runs_over
    run = np.arange(runs)[:, None]
    near = run - np.arange(1, min(NEAR, runs) + 1)
    low = np.full((lines, runs), np.inf)
    skipping = np.full(runs, np.inf)  # ways that end with each run before the last line, which stays over
    for line in range(lines):
        came = float(costs.lines_over(0, line)) + over[:-1]
        if line:
            last = low[line - 1] - over[1:]
            gap = costs.gap(line, run, np.array(line - 1), near)
            counted = np.where(near >= 0, last[near] + gap, np.inf).min(axis=1)
            free = np.minimum(_best_before(last, NEAR), _best_before(skipping - over[1:], 0))
            came = np.minimum(came, over[:-1] + np.minimum(counted, free))
            skipping = np.minimum(skipping, low[line - 1]) + costs.line_over[line]
        low[line] = came + costs.pair[line]
    return low


def _best_before(values: Floats, count: int) -> Floats:
    """Least of the values more than `count` places before each."""
    lead = np.full(min(count + 1, len(values)), np.inf)
    return np.concatenate((lead, np.minimum.accumulate(values)[: len(values) - len(lead)]))


class Ways:
    """Ways through some pairs only.

    Parameters
    ----------
    costs : Costs
    kept : ndarray of bool, shape (lines, runs)
        The pairs that count.
    """

    def __init__(self, costs: Costs, kept: NDArray[np.bool_]) -> None:
        self.costs = costs
        self.line, self.run = np.nonzero(kept)
        self.pair = costs.pair[kept]
        self.first = np.searchsorted(self.line, np.arange(len(kept) + 1))
        self.alone = costs.lines_over(0, self.line) + costs.runs_over[self.run]
        # What ways leave behind their last pair.
        self.lines_behind = costs.lines_over(self.line + 1, len(kept))
        self.runs_behind = costs.runs_over[-1] - costs.runs_over[self.run + 1]

    def groups(self) -> Iterator[Places]:
        """Pairs of one line, at most `TOGETHER` neighbours."""
        for first, last in zip(self.first[:-1], self.first[1:], strict=True):
            for begin in range(first, last, TOGETHER):
                yield np.arange(begin, min(begin + TOGETHER, last))

    def steps(self, now: Places, total: Floats, slack: float = 0.0) -> tuple[Places, tuple[Floats, ...]]:
        """Steps to pairs of a line: from which earlier ones, and the costs of gap, lines and runs between.

        Costs have the shape (pairs, earlier pairs), those of lines only the second. Left out is what cannot be within
        `slack` of the best step: one without any gap costs no more than another whose gap costs most.
        """
        costs, over = self.costs, self.costs.runs_over
        line, run = int(self.line[now[0]]), self.run[now][:, None]
        before = np.flatnonzero(self.run[: self.first[line]] < run[-1])
        skipped = costs.lines_over(self.line[before] + 1, line)
        free = total[before] + skipped - over[self.run[before] + 1]
        best = free[self.run[before] < run[0]].min(initial=np.inf)
        cheap = np.isfinite(free) & (free <= best + costs.most.max() + slack + ROUNDING)
        before, skipped = before[cheap], skipped[cheap]
        gap = costs.gap(line, run, self.line[before], self.run[before])
        gap[self.run[before] >= run] = np.inf
        return before, (gap, skipped, over[run] - over[self.run[before] + 1])

    def totals(self) -> tuple[Floats, Places]:
        """Cheapest cost of ways that end with each pair, and the pair before it; -1 for none."""
        total, came_from = np.full(len(self.line), np.inf), np.full(len(self.line), -1)
        for now in self.groups():
            before, (gap, skipped, runs) = self.steps(now, total)
            cost = self.alone[now]
            if len(before):
                ways = total[before] + gap + skipped + runs
                at = ways.argmin(axis=1)
                came = ways[np.arange(len(now)), at]
                came_from[now] = np.where(came < cost, before[at], -1)
                cost = np.minimum(came, cost)
            total[now] = cost + self.pair[now]
        return total, came_from

    def cheapest(self, total: Floats, came_from: Places) -> tuple[float, dict[int, int]]:
        """Return the lowest cost, and the run of each line in the way that has it."""
        whole = total + self.lines_behind + self.runs_behind
        if not whole.min(initial=np.inf) < self.costs.nothing:
            return self.costs.nothing, {}
        at = int(whole.argmin())
        cost, pairs = float(whole[at]), {}
        while at >= 0:
            pairs[int(self.line[at])] = int(self.run[at])
            at = int(came_from[at])
        return cost, pairs

    def behind(self) -> Floats:
        """Cheapest cost of ways that begin with each pair."""
        return Ways(self.costs.backwards(), self._mask(slice(None))[::-1, ::-1]).totals()[0][::-1]

    def within(self, total: Floats, limit: float) -> Ways:
        """Keep the pairs through which a way costs no more than a limit; `total` as `totals` gives it."""
        through = total + self.behind() - self.pair
        return Ways(self.costs, self._mask(through <= limit + ROUNDING))

    def _mask(self, pairs: NDArray[np.bool_] | slice) -> NDArray[np.bool_]:
        mask = np.zeros(self.costs.pair.shape, dtype=bool)
        mask[self.line[pairs], self.run[pairs]] = True
        return mask

    def otherwise(self, limit: float, chosen: Mapping[int, int]) -> list[tuple[float, int | None]]:
        """Find the cheapest way in which a line has another run than in a given way, or one where it has none.

        Parameters
        ----------
        limit : float
            Ways that cost more are of no interest: they may be missed.
        chosen : mapping of int to int
            Run of each line that has one.

        Returns
        -------
        list of (float, int or None)
            For each line the cost of that way, and the line's run in it.
        """
        total, _ = self.totals()
        steps = list(self._cheap_steps(total, limit))
        found: list[tuple[float, int | None]] = []
        for first in range(0, len(self.costs.pair), AT_ONCE):
            lines = np.arange(first, min(first + AT_ONCE, len(self.costs.pair)))
            forbidden = np.array([chosen.get(int(line), -1) for line in lines])
            cost, run = self._without(lines, forbidden, total, steps)
            found += [(float(one), None if at < 0 else int(at)) for one, at in zip(cost, run, strict=True)]
        return found

    def _cheap_steps(self, total: Floats, limit: float) -> Iterator[Step]:
        """Steps to each pair through which a way costs no more than a limit: the pair before, gap, lines, runs between."""
        behind = self.behind()
        best = float((total + behind - self.pair).min(initial=np.inf))
        slack = max(limit - best, 0.0) + ROUNDING
        for now in self.groups():
            before, (gap, skipped, runs) = self.steps(now, total, slack)
            through = total[before] + gap + skipped + runs + behind[now][:, None]
            for one, cheap in enumerate(through <= limit + ROUNDING):
                yield before[cheap], gap[one, cheap], skipped[cheap], runs[one, cheap]

    def _without(
        self, lines: Places, forbidden: Places, total: Floats, steps: Sequence[Step]
    ) -> tuple[Floats, Places]:
        """Go through the ways again for several lines at once, each without its run; -1: it must not stay over."""
        must = forbidden < 0
        known = int(self.first[lines[0]])  # nothing has changed there
        cost = np.full((len(self.line), len(lines)), np.inf)
        cost[:known] = total[:known, None]
        mine = np.full(cost.shape, -1)  # run of each of the lines in the way so far
        for pair in range(known, len(self.line)):
            line, run = self.line[pair], self.run[pair]
            before, gap, skipped, runs = (part[:, None] for part in steps[pair])
            here = np.where(must & (lines < line), np.inf, self.alone[pair])
            if len(before):
                ways = cost[before[:, 0]] + gap + skipped + runs
                ways[must & (lines > self.line[before]) & (lines < line)] = np.inf
                at = ways.argmin(axis=0), np.arange(len(lines))
                mine[pair] = np.where(ways[at] < here, mine[before[at[0], 0], at[1]], -1)
                here = np.minimum(ways[at], here)
            cost[pair] = here + self.pair[pair]
            cost[pair, (lines == line) & (forbidden == run)] = np.inf
            mine[pair, lines == line] = run
        whole = cost + self.lines_behind[:, None] + self.runs_behind[:, None]
        whole[must & (lines > self.line[:, None])] = np.inf
        nothing = np.where(must, np.inf, self.costs.nothing)
        if not len(whole):
            return nothing, np.full(len(lines), -1)
        at = whole.argmin(axis=0), np.arange(len(lines))
        return np.minimum(whole[at], nothing), np.where(whole[at] < nothing, mine[at], -1)
