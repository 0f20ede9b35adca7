"""Measure what stays wrong in one foot all day, against simulated truth: the settings of the systematic part.

    python -m tests.benchmark.systematic --seeds 13000:13040

Each run is a day of its own: the spread of right - left in the feet's mean errors, less what the scatter of single
pushes explains, is the part that another run of that day would repeat.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmark.accuracy import match

RATE = "push_off_angular_velocity_deg_s"
ERRORS = (
    "blade_on_s", "blade_off_s", "contact_time_s", "edge_angle_deg", "track_angle_deg", "blade_speed_m_s",
    "stride_length_m", "lateral_travel_m",
)  # fmt: skip


def one(task: tuple[str, str, int]) -> list[dict]:
    """Simulate and analyse one run; a row for every push found, with its errors."""
    which, grade, seed = task
    from imustride import pipeline

    if which == "first":
        from imustride.simulation import simulate_run
    else:
        from tests.generators.second import simulate_run
    simulated = simulate_run(seed, grade)
    result = pipeline.analyse_logs("run-1", simulated.logs)
    if not result.usable or not all(clock.joined for clock in result.clocks.values()):
        return []
    rows = []
    for side, skate in result.kinematics.items():
        mine = result.pushes[result.pushes["side"] == side].reset_index(drop=True)
        real = simulated.truth[simulated.truth["side"] == side].reset_index(drop=True)
        for found, true in match(mine["blade_off_s"].to_numpy(float), real["blade_off_s"].to_numpy(float)):
            row = {"generator": which, "seed": seed, "side": side, "forward_sd_rad": skate.forward_sd_rad}
            for name in ERRORS:
                row[name] = mine.loc[found, name] - real.loc[true, name]
            row["rate_ratio"] = mine.loc[found, RATE] / real.loc[true, RATE] - 1
            clock, off_s = result.clocks[side], mine.loc[found, "blade_off_s"]
            rows.append(row | mixing(skate, off_s - float(clock.reference(off_s)) + off_s))
    return rows


def mixing(skate, off_s: float) -> dict[str, float]:
    """What a wrong forward axis mixes in: roll rate over pitch rate at its peak, pitch at the largest edge angle."""
    near = np.flatnonzero(np.abs(skate.time_s - off_s) < 0.15)
    before = near[skate.time_s[near] <= off_s]
    if len(before) == 0:
        return {}
    peak = near[np.argmax(skate.angular_velocity_rad_s[near, 1])]
    tipped = before[np.argmax(np.abs(skate.earth_from_segment[before, 2, 1]))]
    return {
        "roll_to_pitch": abs(skate.angular_velocity_rad_s[peak, 0] / skate.angular_velocity_rad_s[peak, 1]),
        "pitch_at_edge_rad": abs(np.arcsin(skate.earth_from_segment[tipped, 2, 0])),
    }


def between(table: pd.DataFrame, column: str) -> tuple[float, ...]:
    """Return mean error, SD within a foot, and what one foot adds to right - left: SD, the same from 68 and 95 % of runs.

    What both feet of a skater have in common cancels in their difference and stays out.
    """
    feet = table.dropna(subset=[column]).groupby(["generator", "seed", "side"])[column]
    told = pd.DataFrame({"mean": feet.mean(), "noise": feet.var() / feet.size(), "within": feet.var()})
    sides = told[feet.size() > 2].pivot_table(index=["generator", "seed"], columns="side").dropna()
    mean, noise, within = (sides[name] for name in ("mean", "noise", "within"))
    difference = mean["right"] - mean["left"]
    low, lower, upper, high = np.quantile(difference, [0.025, 0.16, 0.84, 0.975])
    expected = float(noise.sum(axis=1).median())
    spreads = (difference.std(), (upper - lower) / 2, (high - low) / (2 * 1.96))
    own = (np.sqrt(max(spread**2 - expected, 0.0) / 2) for spread in spreads)
    return float(mean.mean().mean()), float(np.sqrt(within.mean(axis=1).median())), *own


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", default="13000:13040")
    parser.add_argument("--grade", nargs="+", default=["good", "poor", "real_ice"])
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    first, last = map(int, given.seeds.split(":"))
    for grade in given.grade:
        tasks = [(which, grade, seed) for which in ("first", "second") for seed in range(first, last)]
        with ProcessPoolExecutor(given.workers) as pool:
            table = pd.DataFrame([row for rows in pool.map(one, tasks, chunksize=2) for row in rows])
        print(
            f"\n{grade}, seeds {given.seeds} (simulated): mean error, SD within a foot, a foot's part of right - left: SD, from 68 %, from 95 %"
        )
        for column in (*ERRORS, "rate_ratio"):
            print(f"  {column:16s}" + "".join(f"{value:10.5f}" for value in between(table, column)))
        for column in ("forward_sd_rad", "roll_to_pitch", "pitch_at_edge_rad"):
            print(
                f"  {column:18s} median {table[column].median():.4f}, root mean square {np.sqrt((table[column] ** 2).mean()):.4f}"
            )


if __name__ == "__main__":
    main()
