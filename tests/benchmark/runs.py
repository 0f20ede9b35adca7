"""Measure the columns of runs.csv against simulated truth, on two independent motion generators.

    python -m tests.benchmark.runs --seeds 5000:5020

End to end, in the mixes of `tests.benchmark.paths`. All figures are simulated until somebody checks them on ice.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmark.accuracy import generator
from tests.benchmark.paths import LANE_M, MIXES

Task = tuple[str, str, str, dict, float, int, frozenset[str]]


def one(task: Task) -> pd.DataFrame:
    """Simulate and analyse one run; one row a value."""
    which, grade, label, overrides, gate_sd_s, seed, without = task
    from imustride import pipeline
    from imustride.kinematics import Gates
    from imustride.metrics.profile import fit_speed

    simulated = generator(which)(seed, grade, **overrides)
    front_s, front_m = simulated.front_s, simulated.front_m
    speed = np.gradient(front_m, front_s)
    rng = np.random.default_rng([seed, 17])
    gates, passed = None, np.zeros(0)
    if "gates" not in without and np.all(np.isfinite(simulated.gates_s)):
        places = np.linspace(0.0, LANE_M, 5) if "extra" in without else np.array([0.0, LANE_M])
        passed = np.interp(places, front_m, front_s)
        stamped = passed - passed[0] + rng.normal(0, gate_sd_s, len(places)) * (places > 0)
        gates = Gates(places, stamped, round(float(simulated.factors["start_behind_m"]), 2))
    try:
        result = pipeline.analyse_logs("run-1", simulated.logs, gates=gates)
    except Exception as error:  # noqa: BLE001 - a failed trial is a result of this benchmark
        print(which, label, seed, type(error).__name__, error, file=sys.stderr)
        return pd.DataFrame()
    found = pipeline.runs_table([result]).iloc[0]
    truth = simulated.truth
    last_s = truth["blade_off_s"].max()
    start_s = front_s[np.argmax(speed > 0.1)]
    pushing = (front_s <= last_s) & (front_s >= start_s - 0.5)
    profile = fit_speed(front_s[pushing][::10], speed[pushing][::10])
    end_s = passed[-1] if gates is not None else last_s
    true = {
        "peak_speed_m_s": speed[pushing].max(),
        "distance_m": float(np.interp(end_s, front_s, front_m) - np.interp(start_s - 0.5, front_s, front_m)),
        "profile_v_max_m_s": profile.v_max_m_s,
        "profile_tau_s": profile.tau_s,
    }
    true |= {f"gate_{k}_speed_m_s": at for k, at in enumerate(np.interp(passed, front_s, speed), 1)}
    rows = [
        (name, value, found.get(name, np.nan), found.get(f"{name}_sd", np.nan))
        for name, value in true.items()
    ]
    table = pd.DataFrame(rows, columns=["value", "true", "found", "sd"])
    return table.assign(generator=which, mix=label, seed=seed, usable=result.usable)


def figures(table: pd.DataFrame) -> dict[str, float]:
    """Pool the errors of one value."""
    error = (table["found"] - table["true"]).astype(float)
    known = error.notna()
    z = (error / table["sd"].astype(float))[known]
    return {
        "bias": float(error.mean()),
        "rms": float(np.sqrt((error**2).mean())),
        "median": float(error.abs().median()),
        "within 1.96 sd %": 100 * float((z.abs() < 1.96).mean()),
        "empty %": 100 * float((~known).mean()),
        "runs": len(table),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="5000:5020")
    parser.add_argument("--mix", nargs="+", default=list(MIXES))
    parser.add_argument("--generator", nargs="+", default=["first", "second"])
    parser.add_argument("--without", nargs="*", default=[], help="gates; extra: five gates")
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    tasks = [
        (
            which,
            *MIXES[label][:1],
            label,
            MIXES[label][1][which],
            MIXES[label][2],
            seed,
            frozenset(options.without),
        )
        for which in options.generator
        for label in options.mix
        for seed in range(*map(int, options.seeds.split(":")))
    ]
    with ProcessPoolExecutor(options.workers) as pool:
        table = pd.concat(pool.map(one, tasks, chunksize=3), ignore_index=True)
    rows = [
        {"mix": mix, "generator": which, "value": value} | figures(some)
        for (mix, which, value), some in table.groupby(["mix", "generator", "value"])
    ]
    print(f"seeds {options.seeds}, without {', '.join(options.without) or 'nothing'} (simulated)")
    print(pd.DataFrame(rows).to_string(index=False, float_format=lambda x: f"{x:.3f}"))


if __name__ == "__main__":
    main()
