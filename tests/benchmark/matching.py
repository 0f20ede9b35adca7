"""Matching the runs of a day to its list: what is decided, what of it is wrong, and the time it takes, by kind of list.

``python -m tests.benchmark.matching --lines 60 [--days 20] [--seed 5]``

Lines every one to three minutes, and motions without shocks, 16 for 100 lines. Of the lines one in twenty has no run, and one
in twenty-five runs is on no line; or every line has its run. The times of the list have seconds, or are on the minute; the
evening keeps to them, lags behind more and more, takes twice as long, or has nothing to do with them.
"""

from __future__ import annotations

import argparse
import sys
import time
from itertools import product
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from imustride.cutting.finding import Candidate
from imustride.cutting.matching import Wanted, match

KINDS = ("kept", "lags", "twice as long", "unrelated")


def motion(start_s: float, sprint_s: float, *, sure: bool) -> Candidate:
    """Return a run as it is found, with two shocks or none."""
    shocks_s = (start_s - 6.0, start_s - 5.2) if sure else ()
    return Candidate(
        start_s - 8.0, start_s + 12.0, start_s, start_s + sprint_s + 3.0, sprint_s, 4.0, shocks_s,
        len(shocks_s), ("left_skate", "right_skate"),
    )  # fmt: skip


def day(
    rng: np.random.Generator, lines: int, kind: str, *, has_seconds: bool, is_whole: bool
) -> tuple[list[Wanted], list[Candidate], list[int | None]]:
    """Invent a list, what was found, and the line of each motion."""
    at_s = np.cumsum(rng.uniform(60.0, 180.0, lines))
    gates_s = rng.uniform(4.0, 6.5, lines)
    real_s = {
        "kept": at_s,
        "lags": at_s + np.cumsum(np.abs(rng.normal(0.0, 30.0, lines))),
        "twice as long": 2.0 * at_s,
        "unrelated": np.sort(rng.uniform(0.0, at_s[-1], lines)),
    }[kind]
    there = np.flatnonzero(rng.random(lines) >= (0.0 if is_whole else 0.05)).tolist()
    found: list[tuple[Candidate, int | None]] = [
        (motion(real_s[line] + rng.normal(0.0, 2.0), gates_s[line] + rng.uniform(0.3, 4.5), sure=True), line)
        for line in there
    ]
    for sure, share in ((True, 0.0 if is_whole else 0.04), (False, 0.16)):
        found += [
            (motion(rng.uniform(0.0, real_s[-1]), rng.uniform(4.0, 12.0), sure=sure), None)
            for _ in range(rng.binomial(lines, share))
        ]
    found.sort(key=lambda one: one[0].start_s)
    listed_s = at_s if has_seconds else 60.0 * np.floor(at_s / 60.0)
    wanted = [Wanted(float(at), float(gate_s)) for at, gate_s in zip(listed_s, gates_s, strict=True)]
    return wanted, [one for one, _ in found], [line for _, line in found]


def main() -> None:
    """Match days of each kind, print the counts and the seconds of the processor."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=60)
    parser.add_argument("--days", type=int, default=20)
    parser.add_argument("--seed", type=int, default=5)
    options = parser.parse_args()
    for kind, is_whole, has_seconds in product(KINDS, (False, True), (True, False)):
        decided = wrong = 0
        seconds = []
        for number in range(options.days):
            rng = np.random.default_rng((options.seed, number))
            wanted, found, true = day(rng, options.lines, kind, has_seconds=has_seconds, is_whole=is_whole)
            begin_s = time.process_time()
            matches = match(wanted, found, has_seconds=has_seconds)
            seconds.append(time.process_time() - begin_s)
            given = [(line, one.candidate) for line, one in enumerate(matches) if one.candidate is not None]
            decided += len(given)
            wrong += sum(true[candidate] != line for line, candidate in given)
        print(
            f"{kind}, {'every line its run' if is_whole else 'some over'}, {'seconds' if has_seconds else 'minutes'}: "
            f"{100 * decided / (options.days * options.lines):.0f} % of the lines given a run, {wrong} of {decided} wrong; "
            f"{np.median(seconds):.2f} s a day, at most {max(seconds):.2f} s"
        )


if __name__ == "__main__":
    main()
