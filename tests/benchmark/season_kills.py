"""`season add` killed at any moment: python -m tests.benchmark.season_kills [--kills 1000] [--seed 1]

A process adds results folders of three athletes, two dates each, over and over, each time another variant (a correction),
and says so after every one that the command reported as done. It is killed (SIGKILL) a random time, up to that of one more,
after none to two of these reports. Then: the store holds together (integrity check, foreign keys, counted rows), and each
session is the last variant that was reported, or the one that was being added, value by value, at the revision that
this takes. A new store every ten kills, so that kills fall into its making too. Prints one line of JSON.
"""

import argparse
import contextlib
import dataclasses
import datetime as dt
import json
import os
import signal
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from imustride.cli.boundary import run
from imustride.exporting import write_results
from imustride.exporting.reading_back import read_results
from imustride.season.reading import read_pushes, read_sessions
from imustride.season.store import open_store, problems
from tests.conftest import hand_made_result

VARIANTS = 3
SESSIONS = [(code, day) for code in ("A01", "B02", "C03") for day in (3, 10)]
KILLS_OF_A_STORE = 10
MOST_REPORTS = 2


def made(folder):
    """Write the results folders; return what each holds by (session, variant)."""
    whole = hand_made_result()
    held = {}
    for number, (code, day) in enumerate(SESSIONS):
        session = whole.session.model_copy(update={"athlete": code, "date": dt.date(2026, 10, day)})
        for variant in range(VARIANTS):
            pushes = whole.pushes.assign(edge_angle_deg=whole.pushes["edge_angle_deg"] + variant)
            result = dataclasses.replace(whole, session=session, pushes=pushes)
            write_results(result, folder / f"{number}-{variant}", {})
            held[number, variant] = read_results(folder / f"{number}-{variant}")[1]["pushes"][
                "edge_angle_deg"
            ]
    return held


def order(first):
    """Give (session, variant) in the order in which a process adds them, from the place `first`."""
    place = first
    while True:
        yield place % len(SESSIONS), place // len(SESSIONS) % VARIANTS
        place += 1


def add_for_ever(store, results, first, told):
    """Add, and tell each that is done, until killed."""
    for number, variant in order(first):
        status = run(["season", "add", str(results / f"{number}-{variant}"), "--store", store, "--quiet"])
        os.write(told, b"." if status == 0 else b"!")


def killed(store, results, first, reports, wait_s):
    """Let a process add, await some reports, wait, kill it; return what it told, and how long an add takes [s]."""
    read, write = os.pipe()
    begin = time.perf_counter()
    child = os.fork()
    if child == 0:
        try:
            add_for_ever(store, results, first, write)
        finally:
            os._exit(1)
    os.close(write)
    with os.fdopen(read, "rb", buffering=0) as stream:
        told = b"".join(stream.read(1) for _ in range(reports))
        pace_s = (time.perf_counter() - begin) / reports if reports else None
        time.sleep(wait_s)
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        told += stream.read()
    return told, pace_s


def found_in(place, held):
    """Return the variant and revision of every session that is there; None where what is there is no variant."""
    store = open_store(place)
    sessions = read_sessions(store)
    pushes = read_pushes(store)
    state = {}
    for number, (code, day) in enumerate(SESSIONS):
        mine = (sessions["athlete"] == code) & (sessions["date"] == f"2026-10-{day:02d}")
        if not mine.any():
            continue
        there = pushes[(pushes["athlete"] == code) & (pushes["date"] == f"2026-10-{day:02d}")][
            "edge_angle_deg"
        ]
        same = [v for v in range(VARIANTS) if np.array_equal(there, held[number, v])]
        state[number] = (same[0], int(sessions.loc[mine, "revision"].iloc[0])) if len(same) == 1 else None
    return state, problems(store)


def after(state, steps):
    """Return the state after steps of (session, variant): each is a revision more, unless it is there already."""
    state = dict(state)
    for number, variant in steps:
        before = state.get(number, (None, 0))
        if before[0] != variant:
            state[number] = (variant, before[1] + 1)
    return state


def kill_often(kills, seed):
    """Kill and look, again and again; return what was seen."""
    rng = np.random.default_rng(seed)
    seen = {
        "kills": kills,
        "reported": 0,
        "in_the_making": 0,
        "lost": 0,
        "half": 0,
        "unsound": 0,
        "failed": 0,
        "one_more": 0,
    }
    with tempfile.TemporaryDirectory() as folder:
        results = Path(folder) / "results"
        held, pace_s = made(results), 0.1
        run(
            ["season", "add", str(results), "--store", str(Path(folder) / "warm.db"), "--quiet"]
        )  # loads libraries
        for kill in range(kills):
            if kill % KILLS_OF_A_STORE == 0:
                place, state, first = str(Path(folder) / f"{kill}" / "season.db"), {}, 0
            reports = int(rng.integers(0, MOST_REPORTS + 1))
            told, measured_s = killed(place, results, first, reports, rng.uniform(0, pace_s))
            pace_s = measured_s or pace_s
            done = len(told)
            steps = [step for step, _ in zip(order(first), range(done + 1), strict=False)]
            wanted, one_more = after(state, steps[:done]), after(state, steps)
            seen["reported"] += done
            seen["failed"] += b"!" in told
            if not Path(place).exists():
                seen["in_the_making"] += 1
                seen["lost"] += done > 0
                continue
            state, wrong = found_in(place, held)
            seen["unsound"] += bool(wrong)
            seen["half"] += None in state.values()
            seen["one_more"] += state == one_more != wanted
            seen["lost"] += state not in (wanted, one_more)
            state = {number: there for number, there in state.items() if there is not None}
            first += done + (state == one_more)
    return seen


def main():
    """Print what was seen; exit status 1 where anything was lost or half there."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with contextlib.redirect_stdout(sys.stderr):
        seen = kill_often(asked.kills, asked.seed)
    print(json.dumps(seen))
    sys.exit(any(seen[name] for name in ("lost", "half", "unsound", "failed")))


if __name__ == "__main__":
    main()
