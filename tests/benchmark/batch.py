"""CPU of many recordings of a minute: two skates at 1 kHz, on one core, with and without the paths of the blades.

    python -m tests.benchmark.batch [--work FOLDER] [--recordings 200] [--layout hdf5] [--whole]

Some different recordings are made once and kept in the work folder; the rest are the same again. A recording is a sprint
of six to ten seconds in a log of a minute (the stance before it is drawn out), or pushing all the time, which is
too long for a path. Timed in this process after one recording that is not counted: reading, then everything up to the three
tables; with `--whole` also the page and the files.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

os.environ["OMP_NUM_THREADS"] = "1"
sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

if TYPE_CHECKING:
    from tests.generators.second import SimulatedRun

DIFFERENT = 10
RATE_HZ = 1000.0
LENGTH_S = 60.0
CONTINUOUS_PUSHES = 75
FACTORS = {"rate_hz": RATE_HZ, "log_cut": "none", "clock_drift_ppm": 0.0}
WANTED_S = {"without": 30.0, "with": 100.0}


def recording(kind: str, seed: int) -> SimulatedRun:
    """Simulate a recording of about a minute."""
    from tests.generators.second import simulate_run

    if kind == "continuous":
        steady = {"stride_start_s": 1.1, "stride_end_s": 1.2}
        return simulate_run(seed, "good", pushes=CONTINUOUS_PUSHES, **FACTORS, **steady)
    short = simulate_run(seed, "good", **FACTORS)
    length_s = max(float(log.time_s[-1] - log.time_s[0]) for log in short.logs.values())
    quiet_s = float(short.factors["quiet_s"]) + LENGTH_S - length_s
    return simulate_run(seed, "good", **FACTORS, quiet_s=quiet_s)


def write(work: Path, layout: str, kind: str) -> list[Path]:
    """Write the different recordings as sessions, unless they are there."""
    import h5py
    import numpy as np

    from tests.benchmark.long_session import HEAD
    from tests.generators.folders import write_session

    folders = [work / f"{kind}-{layout}-{k}" for k in range(DIFFERENT)]
    for k, folder in enumerate(folders):
        if (folder / "session.toml").exists():
            continue
        made = recording(kind, 31000 + k)
        if layout == "csv":
            write_session([made], folder)
            continue
        folder.mkdir(parents=True, exist_ok=True)
        with h5py.File(folder / "skates.h5", "w") as file:
            for place, log in made.logs.items():
                file[f"{place}/time"] = log.time_s
                file[f"{place}/acc"] = log.acceleration_m_s2.astype("f4")
                file[f"{place}/gyr"] = np.degrees(log.angular_velocity_rad_s).astype("f4")
        names = {"time": "time", "acceleration": '"acc"', "angular_velocity": '"gyr"'}
        files = {side: f"skates.h5#/{side}_skate" for side in ("left", "right")}
        (folder / "session.toml").write_text(HEAD.format(**names, **files), encoding="utf-8")
    return folders


def measure(folders: list[Path], recordings: int, out: Path, *, paths: bool, whole: bool) -> None:
    """Print a row: CPU of so many recordings in this process [s]."""
    from imustride import pipeline

    settings = pipeline.Settings()
    if not paths:
        settings = replace(settings, track=replace(settings.track, longest_s=0.0))

    def once(folder: Path) -> tuple[int, int, int]:
        result = pipeline.analyse_session(folder, settings)
        if whole:
            pipeline.write_session(result, out / folder.name)
        samples = sum(len(moved.measured) for run in result.runs for moved in run.kinematics.values())
        return len(result.pushes), sum(len(run.paths) for run in result.runs), samples

    once(folders[0])
    begin_s, begin_cpu_s = time.perf_counter(), time.process_time()
    counts = [once(folders[k % len(folders)]) for k in range(recordings)]
    cpu_s, wall_s = time.process_time() - begin_cpu_s, time.perf_counter() - begin_s
    pushes, tracked, samples = (sum(column) for column in zip(*counts, strict=True))
    name = "with" if paths else "without"
    print(
        f"| {folders[0].name[:-2]} | {name} paths | {recordings} | {samples / recordings / 2 / RATE_HZ:.1f} | {pushes} | {tracked} | {cpu_s:.1f} | {wall_s:.1f} | "
        f"{1000 * cpu_s / recordings:.0f} | {WANTED_S[name] * recordings / 200:.0f} |",
        flush=True,
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--work", type=Path, default=Path(tempfile.gettempdir()) / "imustride-batch")
    parser.add_argument("--recordings", type=int, default=200)
    parser.add_argument("--layout", choices=["hdf5", "csv"], default="hdf5")
    parser.add_argument("--whole", action="store_true", help="the page and the files too")
    options = parser.parse_args()
    print(
        "| recordings | | number | s each | pushes | paths | s of CPU | s | ms of CPU each | wanted, s |\n|---|---|---|---|---|---|---|---|---|---|"
    )
    for kind in ("sprint", "continuous"):
        folders = write(options.work, options.layout, kind)
        for paths in (False, True):
            measure(folders, options.recordings, options.work / "out", paths=paths, whole=options.whole)


if __name__ == "__main__":
    main()
