"""How often the 95 % interval of the symmetry table holds the truth, and how wide it is (simulated pushes).

    python tests/benchmark/symmetry_coverage.py [--replicates 2000] [--seed 7]

Every replicate is one day of one athlete: pushes drawn with a known asymmetry, put through
`symmetry_table` as the product calls it. The truth of one run is that run's own asymmetry, of more runs the
day's; the sensor's and alignment's error is constant over the day and no part of the truth. One factor
leaves its base value at a time.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from imustride.metrics.symmetry import MetricSymmetry, Systematic, symmetry_table
from imustride.metrics.symmetry_verdict import ALIKE, LEFT_LARGER, RIGHT_LARGER, UNCLEAR

RUNS = (1, 3, 6)
COLUMNS_A_TABLE = 50  # replicates that share the numbers of pushes


@dataclass(frozen=True)
class Athlete:
    """What is simulated; percent are points of the symmetry index or of the mean."""

    asymmetry_percent: float = 5.0
    left_spread_percent: float = 6.5  # push to push
    right_spread_percent: float = 6.5
    change_percent: float = 1.0  # SD of the asymmetry from run to run
    correlation: float = 0.0  # between successive pushes
    systematic_percent: float = 1.0  # SD of the sensor's error, same all day
    trend: str = "linear"  # "linear": -25 % over the run; "bent": +35 % at first, gone with 3 pushes
    missing: float = 0.03
    later_pushes: tuple[int, int] = (8, 18)  # both feet together; acceleration has six


FACTORS = {
    "base": Athlete(),
    "spread 3 %": Athlete(left_spread_percent=3.0, right_spread_percent=3.0),
    "spread 5 %": Athlete(left_spread_percent=5.0, right_spread_percent=5.0),
    "spread 8 %": Athlete(left_spread_percent=8.0, right_spread_percent=8.0),
    "spread 4 % left, 8 % right": Athlete(left_spread_percent=4.0, right_spread_percent=8.0),
    "no change from run to run": Athlete(change_percent=0.0),
    "change from run to run 2 points": Athlete(change_percent=2.0),
    "change from run to run 3 points": Athlete(change_percent=3.0),
    "pushes hang together, +0.3": Athlete(correlation=0.3),
    "pushes alternate, -0.2": Athlete(correlation=-0.2),
    "sensors without error": Athlete(systematic_percent=0.0),
    "sensor error 2 points": Athlete(systematic_percent=2.0),
    "bent trend": Athlete(trend="bent"),
    "one value in ten missing": Athlete(missing=0.1),
    "asymmetry 15 %": Athlete(asymmetry_percent=15.0),
}


def draw_run(rng: np.random.Generator, athlete: Athlete, true_percent: np.ndarray, pushes: int) -> np.ndarray:
    """Values of one run, shape (pushes, replicates); the asymmetry differs by replicate. Left is first."""
    place = np.arange(pushes)[:, None]
    right = place % 2 == 1
    noise = rng.standard_normal((pushes, len(true_percent)))
    for k in range(1, pushes):
        noise[k] = athlete.correlation * noise[k - 1] + np.sqrt(1.0 - athlete.correlation**2) * noise[k]
    spread = np.where(right, athlete.right_spread_percent, athlete.left_spread_percent) / 100.0
    linear = 1.0 - 0.25 * place / (pushes - 1)
    trend = linear if athlete.trend == "linear" else 1.0 + 0.35 * np.exp(-place / 3.0)
    value = trend * (1.0 + np.where(right, 1.0, -1.0) * true_percent / 200.0 + spread * noise)
    value[rng.random(value.shape) < athlete.missing] = np.nan
    return value


def draw_day(
    rng: np.random.Generator, athlete: Athlete, runs: int, replicates: int
) -> tuple[pd.DataFrame, np.ndarray]:
    """Pushes of a day, one column a replicate, and what the interval should hold [points]."""
    error = athlete.systematic_percent * rng.standard_normal(replicates)
    own = athlete.asymmetry_percent + athlete.change_percent * rng.standard_normal((runs, replicates))
    tables = []
    for run in range(runs):
        pushes = 6 + rng.integers(athlete.later_pushes[0], athlete.later_pushes[1] + 1)
        place = np.arange(pushes)
        sides = np.array(["left", "right"])[place % 2]
        value = draw_run(rng, athlete, own[run] + error, pushes)
        if rng.random() < 0.5:  # either foot starts
            sides = np.where(sides == "left", "right", "left")
            value = draw_run(rng, _mirrored(athlete), -(own[run] + error), pushes)
        fixed = {
            "run": f"run-{run + 1}",
            "side": sides,
            "push": place // 2 + 1,
            "phase": np.where(place < 6, "acceleration", "later"),
            "blade_off_s": 0.35 * (place + 1),
            "flags": "",
        }
        columns = {f"metric_{i}": value[:, i] for i in range(replicates)}
        tables.append(pd.DataFrame(fixed | columns))
    truth = own[0] if runs == 1 else np.full(replicates, athlete.asymmetry_percent)
    return pd.concat(tables, ignore_index=True), truth


def _mirrored(athlete: Athlete) -> Athlete:
    return replace(
        athlete,
        left_spread_percent=athlete.right_spread_percent,
        right_spread_percent=athlete.left_spread_percent,
    )


def study(
    athlete: Athlete, runs: int, replicates: int, seed: int, stated_systematic_percent: float | None = None
) -> pd.DataFrame:
    """Rows of the symmetry table, with columns `covered` and `half_width_percent`."""
    rng = np.random.default_rng(seed)
    stated = athlete.systematic_percent if stated_systematic_percent is None else stated_systematic_percent
    names = [f"metric_{i}" for i in range(COLUMNS_A_TABLE)]
    metrics = dict.fromkeys(names, MetricSymmetry("index", "s"))
    systematic = dict.fromkeys(names, Systematic(index_sd_percent=stated))
    parts = []
    for _ in range(-(-replicates // COLUMNS_A_TABLE)):
        pushes, truth = draw_day(rng, athlete, runs, COLUMNS_A_TABLE)
        table = symmetry_table(pushes, set(pushes["run"]), metrics, systematic)
        true_percent = truth[table["metric"].str.removeprefix("metric_").astype(int)]
        table["covered"] = (table["ci_low_percent"] <= true_percent) & (
            true_percent <= table["ci_high_percent"]
        )
        table["half_width_percent"] = 0.5 * (table["ci_high_percent"] - table["ci_low_percent"])
        parts.append(table[table["half_width_percent"].notna()])
    return pd.concat(parts, ignore_index=True)


def coverage_table(replicates: int, seed: int) -> pd.DataFrame:
    """Coverage and median half width, a row a factor and phase, columns by number of runs."""
    cells: dict[tuple[str, str], dict[str, float]] = {}
    for number, (factor, athlete) in enumerate(FACTORS.items()):
        for runs in RUNS:
            table = study(athlete, runs, replicates, seed + 100 * number + runs)
            for phase, part in table.groupby("phase", sort=False):
                cells.setdefault((factor, phase), {}).update(
                    {
                        f"{runs}: held %": 100.0 * part["covered"].mean(),
                        f"{runs}: +-": part["half_width_percent"].median(),
                    }
                )
    return pd.DataFrame(cells.values(), index=pd.MultiIndex.from_tuples(cells))


def single_run_table(replicates: int, seed: int) -> pd.DataFrame:
    """Verdicts on one run of 12 pushes with a 5 % asymmetry, by spread and phase [%]."""
    rows = {}
    for spread in (5.0, 6.5, 8.0):
        athlete = Athlete(
            left_spread_percent=spread, right_spread_percent=spread, change_percent=0.0, later_pushes=(6, 6)
        )
        for phase, part in study(athlete, 1, replicates, seed).groupby("phase", sort=False):
            share = 100.0 * part["verdict"].value_counts(normalize=True)
            rows[f"spread {spread:g} %, {phase}"] = {
                name: share.get(name, 0.0) for name in (UNCLEAR, RIGHT_LARGER, LEFT_LARGER, ALIKE)
            } | {"median half width": part["half_width_percent"].median()}
    return pd.DataFrame(rows).T


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--replicates", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=7)
    given = parser.parse_args()
    pd.set_option("display.width", 200, "display.max_rows", 100, "display.max_columns", 20)
    print("Simulated. Share of days whose 95 % interval holds the truth, and median half width [points],")
    print("by number of runs (1: that run's own asymmetry; 3, 6: the day's).")
    print(coverage_table(given.replicates, given.seed).round(1).to_string())
    print("\nSimulated. One run of 12 pushes, asymmetry 5 %: verdicts [%]")
    print(single_run_table(given.replicates, given.seed).round(1).to_string())


if __name__ == "__main__":
    main()
