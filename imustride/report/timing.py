"""What the timing gates say: best and mean time, sections, and how far the runs of the day lie apart."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from imustride.report.amounts import MISSING

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.report.amounts import Amounts
    from imustride.results import SessionResult

# Scatter of single light beams, the largest of the published ones (Earp and Newton 2012, doi
# 10.1519/JSC.0b013e3182474436: 12 to 42 ms); which kind of gates was used nobody said.
BEAM_SD_S = 0.042
NORMAL_95 = 1.96


@dataclass(frozen=True, eq=False, slots=True)
class Timed:
    """The timed runs of one layout of gates that count.

    Parameters
    ----------
    position_m : ndarray, shape (g,)
        Of the gates, from the first one.
    runs : tuple of str
    times_s : ndarray, shape (r,)
        From the first gate to the last.
    splits_s : ndarray, shape (r, g - 1)
    """

    position_m: NDArray[np.float64]
    runs: tuple[str, ...]
    times_s: NDArray[np.float64]
    splits_s: NDArray[np.float64]

    @property
    def best(self) -> int:
        """Place of the fastest run."""
        return int(np.argmin(self.times_s))

    def seen_s(self, others: int) -> float:
        """Difference between a run and the mean of others that light beams let be seen [s]."""
        return NORMAL_95 * BEAM_SD_S * math.sqrt(2 * (1 + 1 / others))

    def gained(self) -> tuple[int, float] | None:
        """Return the section in which the best run gained most, and how much [s]; None where none stands out."""
        if len(self.runs) < 2 or self.splits_s.shape[1] < 2:
            return None
        others = np.delete(self.splits_s, self.best, axis=0)
        gain = others.mean(axis=0) - self.splits_s[self.best]
        most = int(np.argmax(gain))
        return (most, float(gain[most])) if gain[most] > self.seen_s(len(others)) else None


def timed(result: SessionResult) -> list[Timed]:
    """Return the timed runs that count, a layout of gates at a time, the one with most runs first."""
    times_s = dict(zip(result.runs_table["run"], result.runs_table["gate_time_s"], strict=True))
    layouts: dict[tuple[float, ...], list[tuple[str, float, NDArray[np.float64]]]] = {}
    for run in result.runs:
        time_s = float(times_s.get(run.name, math.nan))
        if run.usable and run.gates is not None and math.isfinite(time_s):
            place = np.asarray(run.gates.position_m) - run.gates.position_m[0]
            key = tuple(round(float(one), 3) for one in place)
            layouts.setdefault(key, []).append((run.name, time_s, np.diff(run.gates.time_s)))
    found = [
        Timed(
            np.array(place),
            tuple(name for name, _, _ in runs),
            np.array([time_s for _, time_s, _ in runs]),
            np.stack([splits for _, _, splits in runs]),
        )
        for place, runs in layouts.items()
    ]
    return sorted(found, key=lambda one: -len(one.runs))


def time_of(seconds: float, amounts: Amounts) -> str:
    """Return a gate time as fine as light beams allow."""
    return amounts.amount(seconds, "s", BEAM_SD_S)


def no_time(result: SessionResult, amounts: Amounts) -> str:
    """Say why there is no time that counts."""
    taken = result.runs_table["gate_time_s"].notna().any()
    return amounts.say("times.none_counts" if taken else "times.none")


def time_blocks(result: SessionResult, amounts: Amounts) -> list[dict[str, object]]:
    """Return what the page shows of each layout of gates: a line of words and the table of sections."""
    return [_block(one, amounts) for one in timed(result)]


def _block(one: Timed, amounts: Amounts) -> dict[str, object]:
    say = amounts.say
    gates = [amounts.chosen(place, "m") for place in one.position_m]
    several = len(one.runs) > 1
    line = [say("times.best", best=time_of(one.times_s[one.best], amounts), run=one.runs[one.best])]
    if several:
        line.append(say("times.mean", mean=time_of(float(one.times_s.mean()), amounts)))
        sd = float(one.times_s.std(ddof=1))
        line.append(say("times.spread", sd=amounts.amount(sd, "s", BEAM_SD_S)))
    line.append(say.many("times.runs", len(one.runs)))
    sections = _sections(one, gates, amounts) if len(gates) > 2 else []
    place = amounts.with_unit(say.listed(gates), "m")
    return {
        "line": say("list.semicolon").join(line),
        "gates": say("times.layout", gates=place),
        "sections": sections,
        "short": say("list.semicolon").join(_short(row, amounts) for row in sections),
    }


def _short(row: tuple[str, ...], amounts: Amounts) -> str:
    """A section in a line of words, for paper."""
    name, best, mean, sd, n = row
    return amounts.say(
        "times.short" if mean != MISSING else "times.short_one", name=name, best=best, mean=mean, sd=sd, n=n
    )


def _sections(one: Timed, gates: list[str], amounts: Amounts) -> list[tuple[str, ...]]:
    """Each section and the whole: best run, mean, spread, number of runs."""
    say, several = amounts.say, len(one.runs) > 1
    names = [
        say("times.from_to", low=low, high=amounts.with_unit(high, "m")) for low, high in pairwise(gates)
    ]
    columns = np.column_stack([one.splits_s, one.times_s]).T
    return [
        (
            name,
            time_of(float(column[one.best]), amounts),
            time_of(float(column.mean()), amounts) if several else MISSING,
            time_of(float(column.std(ddof=1)), amounts) if several else MISSING,
            str(len(column)),
        )
        for name, column in zip([*names, say("times.whole")], columns, strict=True)
    ]
