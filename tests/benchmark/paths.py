"""Measure the blades' paths against simulated truth, on two independent motion generators.

    python -m tests.benchmark.paths --seeds 5000:5060
    python -m tests.benchmark.paths --seeds 5000:5020 --without gates     # a run without timing gates
    python -m tests.benchmark.paths --seeds 5000:5020 --effects           # each effect of real ice alone

End to end: detection and alignment are the analysis's own. All figures are simulated until somebody
checks them on ice.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.benchmark.accuracy import generator, match

LANE_M = 30.48
CALM = {
    "first": {"skid_m_s": 0.0, "chatter_m_s": 0.0, "boot_flex_deg": 0.0, "bracket_hz": 0.0, "position_declared": True,
              "log_begins_late": False, "log_ends_early": False},
    "second": {"skid_m_s": 0.0, "chatter_m_s2": 0.0, "flex_deg": 0.0, "resonance_hz": 0.0, "lever_declared": True},
}  # fmt: skip
MIXED = {
    "first": {"skid_m_s": 0.2, "position_declared": False, "log_begins_late": False, "log_ends_early": True},
    "second": {"skid_m_s": 0.2, "lever_declared": False, "log_cut": "early_end"},
}
MIXES = {
    "clean": ("good", CALM, 0.002),
    "realistic": ("good", MIXED, 0.020),
    "poor": ("poor", {"first": {}, "second": {}}, 0.020),
}
# One effect of real ice at a time, on top of the clean mix.
EFFECTS = {
    "none": {},
    "skid 0.2 m/s": {"skid_m_s": 0.2},
    "skid 0.4 m/s": {"skid_m_s": 0.4},
    "chatter": {"first": {"chatter_m_s": 0.15}, "second": {"chatter_m_s2": 5.0}},
    "toe pivot in the first steps": {"first": {"toe_pivot": True, "start_turn_deg": 60.0},
                                     "second": {"first_turn_out_deg": 60.0, "turn_out_fade_pushes": 4.0}},
    "boot flex 3 degrees": {"first": {"boot_flex_deg": 3.0}, "second": {"flex_deg": 3.0}},
    "lever unknown": {"first": {"position_declared": False}, "second": {"lever_declared": False}},
    "ringing holder": {"first": {"bracket_hz": 90.0}, "second": {"resonance_hz": 90.0}},
    "curved path": {"first": {"path_curve_deg": 12.0}, "second": {"curve_1_m": 0.006}},
    "log ends early": {"first": {"log_ends_early": True}, "second": {"log_cut": "early_end"}},
    "gaps": {"first": {"gaps": 3, "gap_longest_s": 0.2}, "second": {"gaps": 3}},
    "stumble": {"first": {"stumble_ratio": 0.5}, "second": {"stumble": True}},
}  # fmt: skip
LIMITS = {  # root mean square errors wanted: clean, realistic, poor
    "body_speed_m_s": (0.08, 0.12, 0.15),
    "stride_length_m": (0.7, 1.5, 2.5),
    "step_length_m": (np.nan, 0.08, np.nan),
    "track_angle_deg": (0.4, 1.0, 1.5),
    "lateral_travel_m": (0.012, 0.025, np.nan),
    "blade_speed_m_s": (np.nan, np.nan, np.nan),
}
VALUES = tuple(name for name in LIMITS if name != "body_speed_m_s")
WRONG_SD, WRONG_LIMIT = 4.0, 2.0
# Flags that are no warning of a path.
SAYS_NOTHING = {"", "no_edge_change", "after_finish", "standing_start", "first_lift", "no_glide"}


def one(task: tuple[str, str, str, dict, float, int, frozenset[str], float]) -> pd.DataFrame:
    """Simulate, analyse and match one run; one row a value."""
    which, grade, label, overrides, gate_sd_s, seed, without, stretch = task
    from imustride import pipeline
    from imustride.kinematics import Gates

    simulated = generator(which)(seed, grade, **overrides)
    rng = np.random.default_rng([seed, 17])
    gates = None
    if "gates" not in without and np.all(np.isfinite(simulated.gates_s)):
        positions = np.linspace(0.0, LANE_M, 5) if "extra" in without else np.array([0.0, LANE_M])
        passed = np.interp(positions, simulated.front_m, simulated.front_s)
        stamped = passed - passed[0] + rng.normal(0, gate_sd_s, len(positions)) * (positions > 0)
        gates = Gates(positions, stretch * stamped, round(float(simulated.factors["start_behind_m"]), 2))
    logs = {place: log for place, log in simulated.logs.items() if place not in without}
    try:
        result = pipeline.analyse_logs("run-1", logs, gates=gates)
    except Exception as error:  # noqa: BLE001 - a failed trial is a result of this benchmark
        print(which, label, seed, type(error).__name__, error, file=sys.stderr)
        return pd.DataFrame()
    joined = all(clock.joined for clock in result.clocks.values())
    rows = []
    for side, pushes in result.pushes.groupby("side"):
        true = simulated.truth[simulated.truth["side"] == side].reset_index(drop=True)
        if result.body is not None and len(result.body.gate_s):
            true = in_gate_lane(true, str(side), simulated.gate_lane_rad)
        own = "blade_off_s" if joined and "left_skate" in logs else "blade_off_own_s"
        for i, j in match(pushes["blade_off_s"].to_numpy(float), true[own].to_numpy(float)):
            for name in VALUES:
                if np.isfinite(true.loc[j, name]):
                    found = pushes.iloc[i]
                    rows.append((
                        name, side, true.loc[j, "push"], true.loc[j, name], found.get(name, np.nan),
                        found.get(f"{name}_sd", np.nan), found["flags"],
                    ))  # fmt: skip
    if result.body is not None and joined and "left_skate" in logs:
        body = result.body
        inside = (body.time_s > body.time_s[0] + 0.5) & (body.time_s < result.pushes["blade_off_s"].max())
        at = body.time_s[inside][::10]
        true = np.interp(at, simulated.front_s, np.gradient(simulated.front_m, simulated.front_s))
        finish_s = body.gate_s[-1] if len(body.gate_s) else np.inf
        sd = body.speed_sd_m_s[inside][::10]
        rows += [
            ("body_speed_m_s", "", 0, *row, "after_finish" if late else "")
            for *row, late in zip(true, body.speed_m_s[inside][::10], sd, at > finish_s, strict=True)
        ]
    table = pd.DataFrame(rows, columns=["value", "side", "push", "true", "found", "sd", "flags"])
    left_out = any("gates do not fit" in note for note in result.notes)
    return table.assign(generator=which, mix=label, seed=seed, usable=result.usable, left_out=left_out)


def in_gate_lane(true: pd.DataFrame, side: str, turn_rad: float) -> pd.DataFrame:
    """Turn true values into the lane that ends at the last gate; a contact is as good as straight."""
    outward = 1.0 if side == "left" else -1.0
    travel = true["blade_speed_m_s"] * true["contact_time_s"]
    along = np.sqrt(np.maximum(travel**2 - true["lateral_travel_m"] ** 2, 0.0))
    return true.assign(
        track_angle_deg=true["track_angle_deg"] - outward * np.degrees(turn_rad),
        lateral_travel_m=true["lateral_travel_m"] - outward * turn_rad * along,
    )


def figures(table: pd.DataFrame, limit: float) -> dict[str, float]:
    """Pool the errors of one value."""
    relative = table["value"].iloc[0] == "stride_length_m"
    error = (table["found"] - table["true"]).astype(float)
    shown = 100 * error / table["true"] if relative else error
    shown = shown[table["true"].abs() > 0.5] if relative else shown
    known = error.notna()
    z = (error / table["sd"].astype(float))[known]
    beyond = (shown.abs() > WRONG_LIMIT * limit) & (z.abs() > WRONG_SD)
    told = table["flags"].str.split(";").map(lambda words: bool(set(words) - SAYS_NOTHING))
    silent = beyond & table["usable"] & ~told
    return {
        "rms": float(np.sqrt((shown**2).mean())),
        "median": float(shown.abs().median()),
        "wanted": limit,
        "within 1.96 sd %": 100 * float((z.abs() < 1.96).mean()),
        "empty %": 100 * float((~known).mean()),
        "silently wrong": int(silent.sum()),
        "in runs": int(table["seed"][silent.reindex(table.index, fill_value=False)].nunique()),
        "values": len(table),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", default="5000:5040")
    parser.add_argument("--mix", nargs="+", default=list(MIXES))
    parser.add_argument("--generator", nargs="+", default=["first", "second"])
    parser.add_argument(
        "--without", nargs="*", default=[], help="gates, left_skate, right_skate; extra: five gates"
    )
    parser.add_argument("--effects", action="store_true")
    parser.add_argument("--stretch", type=float, default=1.0, help="gates' times wrong by this factor")
    parser.add_argument("--to-the-finish", action="store_true", help="leave out pushes behind the last gate")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--save", type=Path)
    options = parser.parse_args()
    seeds = range(*map(int, options.seeds.split(":")))
    without = frozenset(options.without)
    tasks = []
    for which in options.generator:
        if options.effects:
            for label, more in EFFECTS.items():
                extra = CALM[which] | more.get(which, more if not {"first", "second"} & set(more) else {})
                tasks += [
                    (which, "good", label, extra, 0.002, seed, without, options.stretch) for seed in seeds
                ]
        else:
            for label in options.mix:
                grade, overrides, gate_sd_s = MIXES[label]
                tasks += [
                    (which, grade, label, overrides[which], gate_sd_s, seed, without, options.stretch)
                    for seed in seeds
                ]
    with ProcessPoolExecutor(options.workers) as pool:
        table = pd.concat(pool.map(one, tasks, chunksize=3), ignore_index=True)
    if options.to_the_finish:
        table = table[~table["flags"].str.contains("after_finish", regex=False)]
    if options.save:
        table.to_pickle(options.save)
    order = {label: k for k, label in enumerate(MIXES)}
    rows = [
        {"mix": mix, "generator": which, "value": value}
        | figures(some, LIMITS[str(value)][order.get(str(mix), 0)])
        for (mix, which, value), some in table.groupby(["mix", "generator", "value"])
    ]
    print(f"seeds {options.seeds}, without {', '.join(sorted(without)) or 'nothing'} (simulated)")
    print(pd.DataFrame(rows).to_string(index=False, float_format=lambda x: f"{x:.3f}"))
    runs = table.drop_duplicates(["mix", "generator", "seed"])
    print(f"{int(runs['left_out'].sum())} of {len(runs)} runs: gates left out as contradicting the sensors")


if __name__ == "__main__":
    main()
