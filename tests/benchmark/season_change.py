"""How often a season's verdicts are wrong, changes are found, and intervals hold the truth (simulated seasons).

    python -m tests.benchmark.season_change [--seasons 100] [--first 20000] [--tables change,few,matters,reliability,sides]

Seasons are those of tests/generators/seasons.py: six metrics an athlete, noise of runs, of sessions (athletes differ in
theirs) and of days that all share. One athlete in five truly changes in the first metric: by a step of twice the minimal
detectable change of a session mean, held by three sessions at least, to the end or for a while. One factor leaves its
base value at a time, over a third of the seasons (small groups: more). Constants of the product were set on seeds below 1000.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.special import ndtr

from imustride.season.change import NONE_THAT_MATTERS, REAL, band, judge_season
from imustride.season.levels import session_levels
from imustride.season.reliability import BETWEEN, WITHIN, own_typical_error, reliability
from imustride.season.sides import side_agreement
from tests.generators.seasons import Season, draw

METRICS = 6
CHANGING = 0.2
BASE = Season()
FACTORS = {
    "base": BASE,
    "no change at all": BASE,
    "athletes alike in noise, no shared days": replace(BASE, differ=0.0, day=0.0),
    "athletes differ twice as much": replace(BASE, differ=0.8),
    "half of the session noise shared by the day": replace(BASE, day=0.5),
    "heavy tails (t with 5 degrees of freedom)": replace(BASE, tails=5.0),
    "noise carried on, correlation 0.3": replace(BASE, carried=0.3),
    "one run a session": replace(BASE, runs=1),
    "a quarter of the sessions missing": replace(BASE, missing_session=0.25),
    "15 sessions": replace(BASE, sessions=15),
    "10 athletes": replace(BASE, athletes=10),
    "an athlete alone": replace(BASE, athletes=1),
}


def courses(rng: np.random.Generator, season: Season, share: float, size: float) -> np.ndarray:
    """True courses, shape (athletes, sessions): a step for a share of the athletes, none for the others."""
    course = np.zeros((season.athletes, season.sessions))
    for athlete in np.flatnonzero(rng.random(season.athletes) < share):
        start = int(rng.integers(1, season.sessions - 2))
        to_the_end = rng.random() < 0.5
        stop = season.sessions if to_the_end else int(rng.integers(start + 3, season.sessions + 1))
        course[athlete, start:stop] = size * rng.choice([-1.0, 1.0])
    return course


def family(rng: np.random.Generator, season: Season, course: np.ndarray):
    """Values of six metrics, the first with the course; the first's athletes' own levels."""
    shared = rng.standard_normal((season.athletes, season.sessions))
    drawn = [draw(rng, season, course if k == 0 else 0.0 * course, shared) for k in range(METRICS)]
    return {f"metric{k}": values for k, (values, _, _) in enumerate(drawn)}, drawn[0][1]


def judged(
    season: Season, seeds: range, share: float, size: float, smallest: float | None = None
) -> pd.DataFrame:
    """Verdicts of many seasons, one row a season, athlete and metric, with the truth beside each."""
    tables = []
    for seed in seeds:
        rng = np.random.default_rng(seed)
        course = courses(rng, season, share, size)
        metrics, level = family(rng, season, course)
        table = judge_season(metrics, None if smallest is None else dict.fromkeys(metrics, smallest))
        athlete = table["athlete"].str[1:].astype(int).to_numpy()
        first = (table["metric"] == "metric0").to_numpy()
        held = np.where(first, (course != 0.0).sum(axis=1)[athlete], 0)
        true_change, true_step, in_band = truths(table, metrics, course, level)
        tables.append(
            table.assign(seed=seed, held=held, true_change=true_change, true_step=true_step, in_band=in_band)
        )
    return pd.concat(tables, ignore_index=True)


def truths(table, metrics, course, level):
    """True change and true step of every row, and the share of sessions whose band holds the truth (first metric)."""
    change, step, held = np.zeros(len(table)), np.zeros(len(table)), np.full(len(table), np.nan)
    bands = band(session_levels(metrics["metric0"]))
    for place, row in enumerate(table.itertuples()):
        if row.metric != "metric0" or not np.isfinite(row.change):
            continue
        own = bands[bands["athlete"] == row.athlete]
        athlete = int(row.athlete[1:])
        true = course[athlete, own["session"].str[1:].astype(int)]
        third = max(2, -(-len(true) // 3))
        runs = 1.0 / (1.0 + BASE.run_sd**2 / own["runs"].to_numpy())  # near the weights of the product
        change[place] = np.average(true[-third:], weights=runs[-third:]) - np.average(
            true[:third], weights=runs[:third]
        )
        inside = ((own["date"] >= row.step_from) & (own["date"] <= row.step_to)).to_numpy()
        step[place] = np.average(true[inside], weights=runs[inside]) - np.average(
            true[~inside], weights=runs[~inside]
        )
        middle = level[athlete] + true
        held[place] = np.mean((own["band_low"] <= middle) & (middle <= own["band_high"]))
    return change, step, held


def percent(values, digits=1):
    """A share in percent, a dash where there is nothing."""
    return f"{100.0 * np.mean(values):.{digits}f}" if len(values) else "-"


def change_table(seeds: range) -> None:
    """False changes, changes found and coverage, by factor."""
    print("Families: athletes, each with six metrics. Percent.\n")
    print(
        "| | families | false real change (standard error) | true steps | found | held by 3, 4, 5, more sessions "
        "| change held | band held | step held |"
    )
    print("|---|---|---|---|---|---|---|---|---|")
    for name, season in FACTORS.items():
        fewer = 1 if season is BASE else 3
        count = max(1, len(seeds) // fewer) * max(1, min(10, BASE.athletes // season.athletes))
        share = 0.0 if name == "no change at all" else CHANGING
        rows = judged(season, range(seeds.start, seeds.start + count), share, 2.0 * season.detectable)
        null = rows[rows["held"] == 0]
        false = (null["verdict"] == REAL).groupby([null["seed"], null["athlete"]]).any()
        error = false.groupby("seed").mean().std(ddof=1) / np.sqrt(count)
        steps = rows[rows["held"] > 0]
        found = steps["verdict"] == REAL
        by_length = [percent(found[steps["held"].clip(upper=6) == k], 0) for k in (3, 4, 5, 6)]
        told = rows[rows["change"].notna()]
        holds = [
            (told[f"{what}_ci_low"] <= told[f"true_{what}"])
            & (told[f"true_{what}"] <= told[f"{what}_ci_high"])
            for what in ("change", "step")
        ]
        print(
            f"| {name} | {len(false)} | {percent(false, 2)} ({100 * error:.2f}) | {len(steps)} | {percent(found)} "
            f"| {', '.join(by_length)} | {percent(holds[0])} | {percent(rows['in_band'].dropna())} "
            f"| {percent(holds[1])} |",
            flush=True,
        )


def few_table(seeds: range) -> None:
    """Three athletes, three sessions: nothing may be told."""
    season = replace(BASE, athletes=3, sessions=3, missing_session=0.0)
    said = {}
    for seed in seeds:
        rng = np.random.default_rng(seed)
        course = np.zeros((3, 3))
        course[0, 1:] = 4.0 * season.detectable
        metrics, _ = family(rng, season, course)
        for word in judge_season(metrics, dict.fromkeys(metrics, 10.0 * season.detectable))["verdict"]:
            said[word] = said.get(word, 0) + 1
    print(f"3 athletes, 3 sessions, one step of 4 detectable changes, {len(seeds)} seasons: {said}\n")


def matters_table(seeds: range) -> None:
    """How often `no change that matters` is said, rightly and wrongly."""
    print(
        "| smallest change that matters | said of unchanged metrics [%] | said of true steps of that size [%] | steps |"
    )
    print("|---|---|---|---|")
    for factor in (0.5, 1.0, 1.5, 2.0, 3.0):
        size = factor * BASE.detectable
        rows = judged(BASE, seeds, 0.5, size, size)
        said = rows["verdict"] == NONE_THAT_MATTERS
        true = rows["held"] > 0
        print(
            f"| {factor} detectable changes | {percent(said[~true])} | {percent(said[true], 2)} | {true.sum()} |",
            flush=True,
        )
    print()


def truth_of(row, season: Season, session_variance: float, runs: float, sessions: float) -> float:
    """Return the true value of a figure of reliability; NaN where the benchmark has none."""
    run, between = season.run_sd**2, season.between**2
    mean, alike = session_variance + run / runs, session_variance * (1.0 - season.day) + run / runs
    noise = run if row.scope == WITHIN else mean
    errors = {
        "standard error of measurement": np.sqrt(noise),
        "typical error": np.sqrt(run if row.scope == WITHIN else alike),
        "minimal detectable change": 1.96 * np.sqrt(2.0 * noise),
        "smallest worthwhile change": 0.2 * season.between,
    }
    if row.quantity != "intraclass correlation":
        return float(errors.get(row.quantity, np.nan))
    targets = between + (session_variance if row.scope == WITHIN else 0.0)
    noise = alike if row.form.startswith("ICC(3") else noise
    repeats = 1.0 if "single" in row.form else runs if row.scope == WITHIN else sessions
    return targets / (targets + noise / repeats)


def reliability_table(seeds: range) -> None:
    """How often the intervals of reliability hold the truth."""
    print("| season | scope | quantity | told | held [%] | estimate / truth | width / truth |")
    print("|---|---|---|---|---|---|---|")
    seasons = {
        "30 athletes, 8 sessions": BASE,
        "10 athletes, 8 sessions": replace(BASE, athletes=10),
        "10 athletes, 4 sessions, complete": replace(
            BASE, athletes=10, sessions=4, missing_session=0, missing_run=0
        ),
    }
    for name, season in seasons.items():
        rows = []
        for seed in seeds:
            rng = np.random.default_rng(seed)
            values, _, sd = draw(rng, season, np.zeros((season.athletes, season.sessions)))
            levels = session_levels(values)
            runs = len(levels) / float(np.sum(1.0 / levels["runs"]))
            sessions = float(1.0 / np.mean(1.0 / levels.groupby("athlete").size()))
            for row in reliability(values.assign(birth_year=2010)).itertuples():
                true = truth_of(row, season, float(np.mean(sd**2)), runs, sessions)
                form = row.form[:8] if row.quantity == "intraclass correlation" else ""
                rows.append((row.scope, f"{row.quantity} {form}", row.value, row.ci_low, row.ci_high, true))
            for code, own in levels.groupby("athlete"):
                athlete, figure = int(code[1:]), own_typical_error(own)
                true = np.sqrt(sd[athlete] ** 2 + season.run_sd**2 * float(np.mean(1.0 / own["runs"])))
                rows.append((BETWEEN, "own typical error", figure.value, figure.ci_low, figure.ci_high, true))
        table = pd.DataFrame(rows, columns=["scope", "quantity", "value", "low", "high", "true"]).dropna()
        for (scope, quantity), part in table.groupby(["scope", "quantity"]):
            held = (part["low"] <= part["true"]) & (part["true"] <= part["high"])
            width = ((part["high"] - part["low"]) / part["true"]).mean()
            ratio = (part["value"] / part["true"]).mean()
            print(
                f"| {name} | {scope} | {quantity} | {len(part)} | {percent(held)} | {ratio:.3f} | {width:.2f} |",
                flush=True,
            )
    print()


def sides_table(seeds: range) -> None:
    """How often the interval of the agreement on the side holds the truth."""
    print("| athletes | spread of asymmetry / noise | true agreement | mean estimate | held [%] | width |")
    print("|---|---|---|---|---|---|")
    for athletes in (4, 10, 30):
        for spread in (0.0, 0.5, 1.0, 3.0):
            node, weight = np.polynomial.hermite_e.hermegauss(80)
            right = ndtr(spread * node)
            true = 2.0 * float(np.sum(weight * (right**2 + (1.0 - right) ** 2)) / weight.sum()) - 1.0
            found = []
            for seed in seeds:
                rng = np.random.default_rng(seed)
                level = spread * rng.standard_normal((athletes, 1)) + rng.standard_normal((athletes, 8))
                found.append(
                    side_agreement(
                        pd.DataFrame({"athlete": np.repeat(np.arange(athletes), 8), "level": level.ravel()})
                    )
                )
            found = [one for one in found if np.isfinite(one.value)]
            held = [one.low <= true <= one.high for one in found]
            mean, width = np.mean([[one.value, one.high - one.low] for one in found], axis=0)
            print(
                f"| {athletes} | {spread} | {true:.2f} | {mean:.2f} | {percent(held)} | {width:.2f} |",
                flush=True,
            )
    print()


TABLES = {
    "change": change_table,
    "few": few_table,
    "matters": matters_table,
    "reliability": reliability_table,
    "sides": sides_table,
}


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=100)
    parser.add_argument("--first", type=int, default=20000)
    parser.add_argument("--tables", default=",".join(TABLES))
    options = parser.parse_args()
    for name in options.tables.split(","):
        TABLES[name](range(options.first, options.first + options.seasons))


if __name__ == "__main__":
    main()
