"""Compare the orientation filters where it counts: over a run of 4 to 8 s, and over long skating.

    python -m tests.benchmark.orientation_accuracy [--seeds 2000:2010] [--long]

Sprints of one sensor with its attitude in closed form, both motion generators, and, where the open
data are there, the first seconds of motion of six BROAD trials. Inclination and heading error that
came up since the quiet stance (every figure of a run is relative to it), root mean square over the
motion: mean over the trials and worst trial. All but BROAD is simulated.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from imustride.orientation import Rest
from imustride.registry import methods
from tests.benchmark.attitude_runs import POOR, AttitudeRun, attitude_run
from tests.benchmark.attitude_truth import first_runs, second_runs

RATES_HZ = (200.0, 500.0, 1000.0)
NO_HEADING_DEG = 45.0  # on average: such a filter gives no heading
HEAD = "| filter | stance after the stop | inclination, deg | worst | heading, deg | worst | ns/sample |"


def errors_deg(found: np.ndarray, true: np.ndarray, run: AttitudeRun) -> tuple[float, float]:
    """Root mean square over the motion of inclination and heading error since the stance [deg]."""
    delta = found @ np.swapaxes(true, 1, 2)
    delta = delta[run.motion] @ Rotation.from_matrix(delta[run.before]).mean().as_matrix().T
    # Error rotation in the earth frame, split in a turn about the vertical and a tilt.
    tilt = np.arctan2(np.hypot(delta[:, 0, 2], delta[:, 1, 2]), delta[:, 2, 2])
    heading = np.unwrap(np.arctan2(delta[:, 1, 0] - delta[:, 0, 1], delta[:, 0, 0] + delta[:, 1, 1]))
    return float(np.rad2deg(np.sqrt(np.mean(tilt**2)))), float(np.rad2deg(np.sqrt(np.mean(heading**2))))


def estimated(name: str, run: AttitudeRun, *, closed: bool) -> tuple[np.ndarray, float]:
    """Attitude over the whole log, and the time it took [ns/sample]."""
    rest = Rest(run.before, run.after if closed else None, run.guessed)
    estimate = methods("orientation")[name].estimate
    begin = time.perf_counter()
    attitude = estimate(run.angular_velocity_rad_s, run.acceleration_m_s2, run.rate_hz, rest)
    return attitude, (time.perf_counter() - begin) / len(attitude) * 1e9


def table(runs: list[AttitudeRun], title: str, names: list[str]) -> None:
    """Print one line a filter, with and without the stance after the stop."""
    print(f"\n{title}: {len(runs)} sensors\n\n{HEAD}\n|---|---|---|---|---|---|---|")
    for name in names:
        for closed in (True, False):
            rows, cost = [], []
            for run in runs:
                attitude, ns = estimated(name, run, closed=closed)
                rows.append(errors_deg(attitude, run.earth_from_sensor, run))
                cost.append(ns)
            tilt, heading = np.array(rows).T
            used = "used" if closed else "absent"
            turn = (
                f"{heading.mean():.2f} | {heading.max():.2f}"
                if heading.mean() < NO_HEADING_DEG
                else "none | none"
            )
            print(
                f"| {name} | {used} | {tilt.mean():.2f} | {tilt.max():.2f} | {turn} | {np.median(cost):,.0f} |",
                flush=True,
            )


def broad_table(folder: Path, names: list[str]) -> None:
    """Print the inclination error over the first seconds of motion of six trials with optical truth."""
    from tests.reference import test_orientation_broad as broad

    trials = [broad.read(folder / name) for name in broad.TRIALS.values()]
    print(f"\nBROAD, the first seconds after the quiet time: {len(trials)} trials\n")
    print(
        "| filter | 4 s, deg | worst | 6 s, deg | worst | 8 s, deg | worst |\n|---|---|---|---|---|---|---|"
    )
    for name in names:
        cells = []
        for seconds in (4, 6, 8):
            errors = [broad.first_seconds_deg(name, trial, seconds) for trial in trials]
            cells += [f"{np.mean(errors):.2f}", f"{np.max(errors):.2f}"]
        print(f"| {name} | {' | '.join(cells)} |", flush=True)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seeds", default="2000:2010")
    parser.add_argument("--long", action="store_true", help="also minutes of continuous skating")
    parser.add_argument("--filters", default=",".join(methods("orientation")))
    data = Path(os.environ.get("IMUSTRIDE_OPEN_DATA", Path(__file__).parents[3] / "shared" / "data"))
    options = parser.parse_args()
    first, last = (int(part) for part in options.seeds.split(":"))
    seeds, names = range(first, last), options.filters.split(",")
    for motion_s in (4.0, 6.0, 8.0):
        runs = [attitude_run(s, RATES_HZ[s % len(RATES_HZ)], motion_s) for s in seeds]
        table(runs, f"Closed form, good sensor, sprint of {motion_s:g} s", names)
    table([attitude_run(s, 200.0, 6.0, POOR) for s in seeds], "Closed form, poor sensor, 200 Hz, 6 s", names)
    for title, runs_of in (("First generator", first_runs), ("Second generator", second_runs)):
        for grade in ("good", "poor", "real_ice"):
            table([run for s in seeds for run in runs_of(s, grade)], f"{title}, {grade}", names)
    if (data / "broad_pick").is_dir():
        broad_table(data / "broad_pick", names)
    if options.long:
        quick = [name for name in names if name in {"strapdown", "vqf"}]
        for way, lap_m in (("laps of 160 m", 160.0), ("straight on", np.inf)):
            for minutes in (0.5, 1, 3, 10):
                runs = [attitude_run(s, 200.0, 60.0 * minutes, lap_m=lap_m) for s in seeds[:5]]
                table(runs, f"Closed form, good sensor, {minutes} min, {way}", quick)


if __name__ == "__main__":
    main()
