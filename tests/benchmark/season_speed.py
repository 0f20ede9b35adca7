"""How fast a large season is read: python -m tests.benchmark.season_speed [--columns 120] [--store PLACE]

450 000 pushes: 300 athletes, 25 sessions each, 3 runs, 20 pushes; random numbers, so that nothing can be left out.
The store is made anew in a temporary place, in one transaction; times are the best and the worst of three, in a process
that has loaded the libraries.
"""

import argparse
import datetime as dt
import os
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from imustride.keeping import write_season_table
from imustride.season.adding import NewSession, insert_session
from imustride.season.people import find_athlete
from imustride.season.reading import ALL, Chosen, read_pushes, read_run_means, stream_pushes
from imustride.season.store import open_store
from imustride.season.tables import consents

ATHLETES, SESSIONS, RUNS, PUSHES = 300, 25, 3, 20


CONSENT = {"given_by": "self", "given_on": "2026-01-01", "scope": "season,group", "recorded_at": "2026-01-01"}


def made(rng, columns, code, date):
    """Return a session of random numbers."""
    n = RUNS * PUSHES
    keys = {
        "run": np.repeat([f"run-{i + 1}" for i in range(RUNS)], PUSHES),
        "side": np.tile(["left", "right"], n // 2),
        "push": np.tile(np.repeat(np.arange(PUSHES // 2) + 1, 2), RUNS),
        "phase": np.tile(np.where(np.arange(PUSHES) < 6, "acceleration", "later"), RUNS),
        "flags": "",
    }
    values = pd.DataFrame(
        rng.normal(1, 0.1, (n, columns)), columns=[f"metric_{i}_m_s" for i in range(columns)]
    )
    pushes = pd.DataFrame(keys).join(values)
    runs = pd.DataFrame({"run": [f"run-{i + 1}" for i in range(RUNS)], "usable": True, "reason": ""})
    runs["gate_time_s"] = rng.normal(5, 0.1, RUNS)
    skates = [
        {
            "place": f"{side}_skate",
            "rate_hz": 500.0,
            "bandwidth_hz": 200.0,
            "mount": "holder",
            "calibrated": True,
        }
        for side in ("left", "right")
    ]
    facts = {
        "athlete": code, "date": date, "name": "evening", "protocol": "sprint-100ft", "surface": "ice",
        "conditions": {}, "sensors": skates,
    }  # fmt: skip
    definitions = {f"metric_{i}_m_s": 1 for i in range(columns)}
    symmetry = pd.DataFrame({"phase": ["later"], "metric": ["metric_0_m_s"], "difference": [0.1]})
    tables = {"pushes": pushes, "runs": runs, "symmetry": symmetry}
    return NewSession(facts, tables, {}, definitions, {}, "1", [], Path("nowhere"))


def fill(store, columns):
    """Fill a store in one transaction."""
    rng = np.random.default_rng(1)
    first = dt.date(2026, 1, 1)
    with store.writing() as connection:
        for a in range(ATHLETES):
            code = f"A{a:03d}"
            athlete = find_athlete(connection, code, 1990)
            connection.execute(consents.insert(), {**CONSENT, "athlete_id": athlete})
            for s in range(SESSIONS):
                date = (first + dt.timedelta(days=7 * s)).isoformat()
                insert_session(connection, athlete, made(rng, columns, code, date), f"{a} {s}", 1)


def timed(name, wanted_s, ask):
    """Print the times of three askings: by the clock, and of the processor alone, which a busy machine changes less."""
    took, rows = [], 0
    for _ in range(3):
        begin, begin_cpu = time.perf_counter(), time.process_time()
        rows = ask()
        took.append((time.perf_counter() - begin, time.process_time() - begin_cpu))
    clock, cpu = zip(*took, strict=True)
    print(
        f"| {name} | {rows} | {min(clock):.3f} to {max(clock):.3f} | {min(cpu):.3f} to {max(cpu):.3f} | {wanted_s} |",
        flush=True,
    )


def exported(store):
    """Write the whole table to a folder of its own."""
    with tempfile.TemporaryDirectory() as folder:
        return write_season_table(
            store, Path(folder) / "table", row="push", chosen=ALL, kinds=("parquet",)
        ).rows["pushes"]


def main():
    """Make the store and print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--columns", type=int, default=120)
    parser.add_argument("--store")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        place = asked.store or os.path.join(folder, "season.db")  # noqa: PTH118 - a URL or a path
        store = open_store(place, create=True)
        begin = time.perf_counter()
        fill(store, asked.columns)
        size = f", {Path(place).stat().st_size / 1e6:.0f} MB" if store.file else ""
        print(
            f"filled in {time.perf_counter() - begin:.0f} s{size}\n\n| asked | rows | s, best to worst | s of CPU | wanted |\n|---|---|---|---|---|"
        )
        one = Chosen(athletes=("A123",))
        timed("one athlete's season, all columns", 0.05, lambda: len(read_pushes(store, one)))
        timed(
            "one metric of the group, one row a run",
            2,
            lambda: len(read_run_means(store, "metric_60_m_s", "later")),
        )
        timed(
            "all pushes, all columns, streamed", 20, lambda: sum(len(part) for part in stream_pushes(store))
        )
        timed("the same written as Parquet", "-", lambda: exported(store))


if __name__ == "__main__":
    main()
