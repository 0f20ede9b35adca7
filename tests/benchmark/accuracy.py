"""Measure the analysis against simulated truth, on two independent motion generators.

    python -m tests.benchmark.accuracy --grade good --seeds 1000:1040

Every true push counts: a push not found, and a value left empty away from a gap or clipping, are
misses. All figures are simulated until somebody checks them on ice.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
import traceback
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

MATCH_S = 0.15
VALUES = ("contact_time_s", "stride_time_s", "push_off_angular_velocity_deg_s", "edge_angle_deg")
PATHS = ("blade_speed_m_s", "stride_length_m", "track_angle_deg", "lateral_travel_m")


def generator(name: str):
    if name == "first":
        from imustride.simulation import simulate_run
    else:
        from tests.generators.second import simulate_run
    return simulate_run


def match(found: np.ndarray, true: np.ndarray) -> list[tuple[int, int]]:
    """Pair events one to one, nearest first, within MATCH_S."""
    pairs = []
    gap = np.abs(found[:, None] - true[None, :])
    gap = np.where(np.isfinite(gap), gap, np.inf)
    while gap.size and gap.min() < MATCH_S:
        i, j = np.unravel_index(gap.argmin(), gap.shape)
        pairs.append((int(i), int(j)))
        gap[i, :] = np.inf
        gap[:, j] = np.inf
    return pairs


def one(task: tuple[str, str, int]) -> dict:
    """Simulate, analyse and match one run."""
    which, grade, seed = task
    from imustride import pipeline

    simulated = generator(which)(seed, grade)
    truth = simulated.truth.reset_index(drop=True)
    begin = time.perf_counter()
    out = {"generator": which, "grade": grade, "seed": seed, "factors": simulated.factors, "error": ""}
    try:
        result = pipeline.analyse_logs("run-1", simulated.logs)
        pushes = result.pushes
        out["usable"], out["reason"] = result.usable, result.reason
        out["joined"] = all(clock.joined for clock in result.clocks.values())
    except Exception as error:  # noqa: BLE001 - a failed trial is a result of this benchmark
        out["error"] = f"{type(error).__name__}: {error}"
        out["trace"] = traceback.format_exc(limit=-3)
        pushes = pd.DataFrame(columns=["side", "blade_on_s", "blade_off_s", *VALUES])
    out["seconds"] = time.perf_counter() - begin
    rows, extra = [], []
    for side in ("left", "right"):
        mine = pushes[pushes["side"] == side].reset_index(drop=True)
        real = truth[truth["side"] == side].reset_index(drop=True)
        true_off = real["blade_off_s"].to_numpy(float)
        if not out.get("joined", True):
            true_off = real["blade_off_own_s"].to_numpy(float)
        pairs = match(mine["blade_off_s"].to_numpy(float), true_off)
        for i, j in pairs:
            row = {"side": side, "found": True}
            row.update({f"true_{key}": real.loc[j, key] for key in real.columns if key != "side"})
            row.update({key: mine.loc[i, key] for key in mine.columns if key != "side"})
            rows.append(row)
        for j in set(range(len(real))) - {j for _, j in pairs}:
            row = {"side": side, "found": False}
            row.update({f"true_{key}": real.loc[j, key] for key in real.columns if key != "side"})
            rows.append(row)
        extra += [
            {"side": side, **mine.loc[i].to_dict()} for i in set(range(len(mine))) - {i for i, _ in pairs}
        ]
    table = pd.DataFrame(rows)
    table["generator"], table["grade"], table["seed"] = which, grade, seed
    out["table"], out["extra"] = table, pd.DataFrame(extra)
    return out


def symmetry_index(left: float, right: float) -> float:
    return 100 * (right - left) / (0.5 * (right + left))


def index_errors(table: pd.DataFrame, column: str) -> list[float]:
    """Error of each run's plain symmetry index against that of the same true pushes [points]."""
    errors = []
    for _, run in table.groupby(["generator", "seed"]):
        good = run[run["found"] & (run["true_push"] > 0)]
        mine = good.groupby("side")[column].mean()
        real = good.groupby("side")[f"true_{column}"].mean()
        if len(mine) == 2 and mine.notna().all() and real.notna().all():
            errors.append(symmetry_index(*mine[["left", "right"]]) - symmetry_index(*real[["left", "right"]]))
    return errors


def figures(results: list[dict]) -> dict[str, float]:
    """Pool the figures of a set of runs."""
    table = pd.concat([r["table"] for r in results], ignore_index=True)
    extras = sum(len(r["extra"]) for r in results)
    found = table[table["found"]]
    clean = found[~found["true_near_gap"].astype(bool)]
    out = {
        "runs": len(results),
        "failed runs": sum(bool(r["error"]) for r in results),
        "clocks not joined": sum(not r.get("joined", True) for r in results),
        "true pushes": len(table),
        "recall": len(found) / len(table),
        "precision": len(found) / max(len(found) + extras, 1),
    }
    joined = {(r["generator"], r["seed"]): r.get("joined", True) for r in results}
    own = np.array([not joined[key] for key in zip(found["generator"], found["seed"], strict=True)])
    for event in ("blade_on", "blade_off"):
        true = np.where(own, found[f"true_{event}_own_s"], found[f"true_{event}_s"]).astype(float)
        error = 1000 * (found[f"{event}_s"].astype(float) - true)
        out[f"{event} bias ms"], out[f"{event} sd ms"] = error.mean(), error.std()
    error = 1000 * (found["contact_time_s"] - found["true_contact_time_s"]).astype(float)
    out["contact bias ms"], out["contact sd ms"] = error.mean(), error.std()
    rate = (found["true_stride_time_s"] / found["stride_time_s"] - 1).astype(float)
    out["stride rate mean abs %"] = 100 * rate.abs().mean()
    ratio = (
        found["push_off_angular_velocity_deg_s"] / found["true_push_off_angular_velocity_deg_s"] - 1
    ).astype(float)
    out["angular velocity mean abs %"], out["angular velocity bias %"] = (
        100 * ratio.abs().mean(),
        100 * ratio.mean(),
    )
    edge = (found["edge_angle_deg"] - found["true_edge_angle_deg"]).astype(float)
    out["edge rms deg"] = np.sqrt((edge**2).mean())
    for column in ("contact_time_s", "push_off_angular_velocity_deg_s"):
        out[f"index {column} mean abs points"] = float(np.mean(np.abs(index_errors(table, column))))
    out |= path_figures(found)
    for column in (*VALUES, *PATHS):
        wanted = clean[clean[f"true_{column}"].notna()]
        out[f"empty {column} %"] = 100 * wanted[column].isna().mean() if len(wanted) else 0.0
    out["seconds a run"] = float(np.mean([r["seconds"] for r in results]))
    return out


def path_figures(found: pd.DataFrame) -> dict[str, float]:
    """Root mean square errors of what rests on the blades' paths, and how often the stated spread holds."""
    out: dict[str, float] = {}
    for column in PATHS:
        error = (found[column] - found[f"true_{column}"]).astype(float)
        out[f"{column} rms"] = float(np.sqrt((error**2).mean()))
        if column == "stride_length_m":
            long = found[f"true_{column}"] > 0.5
            out["stride_length rms %"] = 100 * float(
                np.sqrt(((error / found[f"true_{column}"])[long] ** 2).mean())
            )
        if f"{column}_sd" in found:
            inside = (error.abs() < 1.96 * found[f"{column}_sd"].astype(float))[error.notna()]
            out[f"{column} within 1.96 sd %"] = 100 * float(inside.mean())
    return out


def run_score(result: dict) -> float:
    """Root mean square of the event errors of a run [ms], with 100 ms for every push missed or made up."""
    table = result["table"]
    errors = [np.full(int((~table["found"]).sum()) + len(result["extra"]), 100.0)]
    for event in ("blade_on", "blade_off"):
        if f"{event}_s" in table:
            own = "" if result.get("joined", True) else "_own"
            error = 1000 * (table[f"{event}_s"] - table[f"true_{event}{own}_s"]).astype(float)
            errors.append(error.dropna().to_numpy())
    return float(np.sqrt(np.mean(np.concatenate(errors) ** 2)))


def worst_tenth(results: list[dict]) -> None:
    """Print the worst tenth of the runs, and which drawn factors set them apart from the rest."""
    scores = np.array([run_score(r) for r in results])
    bad = scores >= np.quantile(scores, 0.9)
    print(
        f"worst tenth: score {scores[bad].mean():.1f} ms, the rest {scores[~bad].mean():.1f} ms (median {np.median(scores):.1f})"
    )
    for which in sorted({r["generator"] for r in results}):
        mine = np.array([r["generator"] == which for r in results])
        factors = pd.DataFrame([r["factors"] for r in results if r["generator"] == which])
        factors = pd.get_dummies(factors.drop(columns="seed", errors="ignore"), dtype=float).select_dtypes(
            "number"
        )
        high, low = factors[bad[mine]], factors[~bad[mine]]
        spread = factors.std().replace(0, np.nan)
        apart = ((high.mean() - low.mean()) / spread).dropna().sort_values(key=abs, ascending=False).head(6)
        text = ", ".join(
            f"{name} {high[name].mean():.3g} against {low[name].mean():.3g}" for name in apart.index
        )
        print(f"  {which} ({len(high)} of {mine.sum()} runs): {text}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--grade", nargs="+", default=["good", "poor", "real_ice"])
    parser.add_argument("--generator", nargs="+", default=["first", "second"])
    parser.add_argument("--seeds", default="1000:1040")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--worst", action="store_true")
    parser.add_argument("--json", type=Path)
    options = parser.parse_args()
    first, last = map(int, options.seeds.split(":"))
    report = {}
    for grade in options.grade:
        tasks = [(which, grade, seed) for which in options.generator for seed in range(first, last)]
        with ProcessPoolExecutor(options.workers) as pool:
            results = list(pool.map(one, tasks, chunksize=2))
        columns = {
            which: figures([r for r in results if r["generator"] == which]) for which in options.generator
        }
        columns["both"] = figures(results)
        report[grade] = columns
        print(f"\n## {grade}, seeds {options.seeds} (simulated)")
        print(pd.DataFrame(columns).to_string(float_format=lambda x: f"{x:.3f}"))
        for r in results:
            if r["error"]:
                print(r["generator"], r["seed"], r["error"])
        if options.worst:
            worst_tenth(results)
    if options.json:
        options.json.write_text(json.dumps(report, indent=1, default=float))


if __name__ == "__main__":
    main()
