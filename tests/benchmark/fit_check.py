"""How often the check of sensors names a planted fault, and blames clean sensors (simulated, both generators).

    python -m tests.benchmark.fit_check --seeds 20000:20100

A session is clean where nothing is planted: grade good, calibrated, whole protocol. A false alarm is any warning or failure of
a clean session. A planted fault counts as named where one of its own checks warns or fails.
"""

from __future__ import annotations

import argparse
import datetime as dt
import sys
import tempfile
import zlib
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.generators.faults import FAULTS, calibrate, declared
from tests.generators.fitted import first_fitted, second_fitted
from tests.generators.loose import draw_loose_mount

DAY = dt.date(2026, 10, 3)
GRAVITY_M_S2 = {"first": 9.80665, "second": 9.81}  # as the generators have it
WHOLE = {"first": {"log_begins_late": False, "log_ends_early": False}, "second": {"log_cut": "none"}}
CLEAN = "nothing"


def check(name, kind, logs, calibrations, gravity_m_s2):
    """Put one recording through all checks."""
    from imustride.checking.limits import CheckLimits
    from imustride.errors import ImustrideError
    from imustride.fitting import checked
    from imustride.fitting_views import seen, sensor_view
    from imustride.settings import Settings

    views, problems = {}, {}
    for place, log in logs.items():
        try:
            views[place] = sensor_view(log, calibrations[place], gravity_m_s2, DAY)
        except ImustrideError as error:
            problems[place] = str(error)
    looked = seen(name, kind, views, problems, Settings())
    return checked([looked.view], {}, CheckLimits())


def simulated(which, seed, kind, fault, folder):
    """Simulate one recording with a planted fault; None where the generator cannot have it."""
    rng = np.random.default_rng([seed, zlib.crc32(fault.encode())])
    planted = FAULTS.get(fault)
    overrides = dict(WHOLE[which])
    loose = {}
    if planted is not None:
        drawn = planted.first if which == "first" else planted.second
        if drawn is None or kind not in planted.kinds:
            return None
        overrides |= drawn(rng)
        loose = {"left": draw_loose_mount(rng)} if planted.loose else {}
    simulate = first_fitted if which == "first" else second_fitted
    made = simulate(seed, fitting=kind == "fitting", loose=loose, **overrides)
    files = {place: calibrate(made, place, folder, rng) for place in made.logs}
    logs = declared(made.logs)
    if planted is not None and planted.axes and any(log.sensor.axes is None for log in logs.values()):
        return None
    if planted is not None:
        logs, files = planted.after(logs, rng), planted.calibrations(files, rng)
    return logs, files


def one(task):
    """Simulate and check one recording; None where there is nothing to simulate."""
    which, seed, kind, fault = task
    with tempfile.TemporaryDirectory() as folder:
        made = simulated(which, seed, kind, fault, Path(folder))
        if made is None:
            return None
        lines = check("run-1", kind, *made, GRAVITY_M_S2[which])
    alarms = [line for line in lines if line.verdict in {"warn", "fail"}]
    wanted = FAULTS[fault].names if fault != CLEAN else ()
    said = "; ".join(f"{line.check} {line.where}: {line.measured}" for line in alarms)
    return {
        "fault": fault, "kind": kind, "generator": which, "seed": seed,
        "alarm": bool(alarms), "named": any(line.check in wanted for line in alarms), "said": said,
        "checks": tuple(sorted({line.check for line in alarms})),
    }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seeds", default="20000:20025", help="of the planted faults")
    parser.add_argument("--clean", default="", help="seeds of the clean sessions; as --seeds where left out")
    parser.add_argument("--only", nargs="*", help="faults to plant; all where left out")
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    spans = [range(*map(int, (span or given.seeds).split(":"))) for span in (given.seeds, given.clean)]
    tasks = [
        (which, seed, kind, fault)
        for fault in (CLEAN, *(FAULTS if given.only is None else given.only))
        for kind in ("run", "fitting")
        for which in ("first", "second")
        for seed in spans[fault == CLEAN]
    ]
    with ProcessPoolExecutor(given.workers) as pool:
        found = pd.DataFrame([row for row in pool.map(one, tasks, chunksize=4) if row])
    clean, spoiled = found[found["fault"] == CLEAN], found[found["fault"] != CLEAN]
    print(
        f"Simulated, seeds {given.seeds}, clean {given.clean or given.seeds}.\n\nFalse alarms [%], clean recordings"
    )
    counts = clean.groupby(["kind", "generator"])["alarm"].agg(["mean", "size"])
    print(counts.assign(mean=100 * counts["mean"]).round(2).to_string())
    print(f"all: {100 * clean['alarm'].mean():.2f} % of {len(clean)}")
    print(f"by check: {dict(Counter(name for names in clean['checks'] for name in names))}")
    if len(spoiled):
        print("\nPlanted faults named [%]")
        table = 100 * spoiled.pivot_table("named", "fault", ["kind", "generator"], sort=False)
        table["recordings", ""] = spoiled.groupby("fault").size()
        print(table.round(1).to_string())
        print(f"all: {100 * spoiled['named'].mean():.2f} % of {len(spoiled)}")
    print("\nFalse alarms and misses:")
    for row in found[
        (found["fault"] == CLEAN) & found["alarm"] | (found["fault"] != CLEAN) & ~found["named"]
    ].to_dict("records"):
        print(
            f"  {row['fault']} | {row['kind']} {row['generator']} {row['seed']}: {row['said'] or 'nothing'}"
        )


if __name__ == "__main__":
    main()
