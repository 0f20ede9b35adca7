"""How often a good run is thrown out, and a spoiled one noticed (simulated, both generators).

    python -m tests.benchmark.quality --seeds 12000:12025

Runs that really went wrong by their own draw (a stumble in real_ice) are no good runs and stay out.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

# How each generator spoils a run, and the word that the reason must hold; none where it cannot.
SPOILED = {
    "stumble": ({"stumble_ratio": 1.0}, None, "rhythm"),
    "slip": ({"left_slip_deg": 35.0}, None, "turned in its mount"),
    "clip": (
        {"left_acceleration_range_g": 2.0, "left_angular_velocity_range_deg_s": 250.0},
        {"acc_range_g": 2.0, "gyro_range_deg_s": 250.0},
        "cut off",
    ),
    "swap": ({}, {}, "swapped"),
}


def swapped(logs):
    """Exchange the files of the two skates, each declared as the other."""
    left, right = logs["left_skate"], logs["right_skate"]
    return {
        "left_skate": replace(right, sensor=left.sensor.model_copy(update={"device": right.sensor.device})),
        "right_skate": replace(left, sensor=right.sensor.model_copy(update={"device": left.sensor.device})),
    }


def one(task: tuple[str, str, int, str]) -> dict | None:
    """Simulate and judge one run; None where the generator cannot spoil it so."""
    which, grade, seed, mishap = task
    from imustride import pipeline

    number = 0 if which == "first" else 1
    overrides = SPOILED[mishap][number] if mishap else {}
    if overrides is None:
        return None
    if which == "first":
        from imustride.simulation import simulate_run
    else:
        from tests.generators.second import simulate_run
    simulated = simulate_run(seed, grade, **overrides)
    fell = bool(simulated.factors.get("stumble_ratio", 0) or simulated.factors.get("stumble", False))
    if not mishap and fell:
        return None
    logs = swapped(simulated.logs) if mishap == "swap" else simulated.logs
    result = pipeline.analyse_logs("run-1", logs)
    named = result.usable or not mishap or SPOILED[mishap][2] in result.reason
    return {
        "generator": which, "grade": grade, "seed": seed, "mishap": mishap or "none",
        "left out": not result.usable, "rightly named": named and not result.usable, "reason": result.reason,
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", default="12000:12025")
    parser.add_argument("--grade", nargs="+", default=["good", "poor", "real_ice"])
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    first, last = map(int, given.seeds.split(":"))
    tasks = [
        (which, grade, seed, mishap)
        for grade in given.grade
        for which in ("first", "second")
        for mishap in ("", *SPOILED)
        for seed in range(first, last)
    ]
    with ProcessPoolExecutor(given.workers) as pool:
        found = pd.DataFrame([row for row in pool.map(one, tasks, chunksize=4) if row])
    print(f"Simulated, seeds {given.seeds}. Share of runs left out, and left out for the planted reason [%]")
    shares = found.groupby(["mishap", "grade", "generator"])[["left out", "rightly named"]].mean()
    print(
        (100 * shares)
        .assign(runs=found.groupby(["mishap", "grade", "generator"]).size())
        .round(1)
        .to_string()
    )
    print("\nGood runs left out:")
    for row in found[(found["mishap"] == "none") & found["left out"]].to_dict("records"):
        print(f"  {row['generator']} {row['grade']} {row['seed']}: {row['reason']}")
    missed = Counter(
        (row["mishap"], row["generator"], row["grade"], row["reason"][:90])
        for row in found[(found["mishap"] != "none") & ~found["rightly named"]].to_dict("records")
    )
    print("\nSpoiled runs kept or left out for another reason:")
    for (mishap, which, grade, reason), count in sorted(missed.items()):
        print(f"  {count} {mishap} {which} {grade}: {reason or 'kept'}")


if __name__ == "__main__":
    main()
