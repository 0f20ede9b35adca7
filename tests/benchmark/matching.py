"""Matching the runs of a weekend to its list: seconds, and what is decided rightly, by kind of list.

``python -m tests.benchmark.matching --lines 500``

Lines every one to three minutes, one in twenty without a run, and a fifth more motions than lines, most of them without
shocks. The times of the list have seconds, or are on the minute; the evening keeps to them, takes twice as long, or has
nothing to do with them.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from imustride.cutting.finding import Candidate
from imustride.cutting.matching import Wanted, match

KINDS = ("kept", "twice as long", "unrelated")


def motion(start_s: float, sprint_s: float, *, sure: bool) -> Candidate:
    """Return a run as it is found, with two shocks or none."""
    shocks_s = (start_s - 6.0, start_s - 5.2) if sure else ()
    return Candidate(
        start_s - 8.0, start_s + 12.0, start_s, start_s + sprint_s + 3.0, sprint_s, 4.0, shocks_s,
        len(shocks_s), ("left_skate", "right_skate"),
    )  # fmt: skip


def weekend(
    lines: int, kind: str, *, has_seconds: bool
) -> tuple[list[Wanted], list[Candidate], list[int | None]]:
    """Invent a list, what was found, and the line of each motion."""
    rng = np.random.default_rng(lines)
    at_s = np.cumsum(rng.uniform(60.0, 180.0, lines))
    gates_s = rng.uniform(4.0, 6.5, lines)
    real_s = {
        "kept": at_s,
        "twice as long": 2.0 * at_s,
        "unrelated": np.sort(rng.uniform(0.0, at_s[-1], lines)),
    }[kind]
    found: list[tuple[Candidate, int | None]] = [
        (motion(real_s[line] + rng.normal(0.0, 2.0), gates_s[line] + rng.uniform(0.3, 4.5), sure=True), line)
        for line in np.flatnonzero(rng.random(lines) < 0.95).tolist()
    ]
    found += [
        (motion(rng.uniform(0.0, real_s[-1]), rng.uniform(4.0, 12.0), sure=rng.random() < 0.2), None)
        for _ in range(lines // 5)
    ]
    found.sort(key=lambda one: one[0].start_s)
    listed_s = at_s if has_seconds else 60.0 * np.floor(at_s / 60.0)
    wanted = [Wanted(float(at), float(gate_s)) for at, gate_s in zip(listed_s, gates_s, strict=True)]
    return wanted, [one for one, _ in found], [line for _, line in found]


def main() -> None:
    """Match each kind of weekend once, print the seconds of the processor."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=500)
    options = parser.parse_args()
    for kind in KINDS:
        for has_seconds in (True, False):
            wanted, found, true = weekend(options.lines, kind, has_seconds=has_seconds)
            begin_s = time.process_time()
            matches = match(wanted, found, has_seconds=has_seconds)
            seconds = time.process_time() - begin_s
            decided = [(line, one.candidate) for line, one in enumerate(matches) if one.candidate is not None]
            wrong = sum(true[candidate] != line for line, candidate in decided)
            times = "seconds" if has_seconds else "minutes"
            print(
                f"{kind}, in {times}: {len(wanted)} lines, {len(found)} runs: {seconds:.2f} s, "
                f"{len(decided)} decided, {wrong} wrong"
            )


if __name__ == "__main__":
    main()
