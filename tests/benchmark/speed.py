"""Time the analysis against the usual script, stage by stage, and over lengths from 1 min to 3 h.

    python -m tests.benchmark.speed [--work FOLDER] [--lengths 1,10,60,180] [--repeats 3]

Both sides read the same 10 min of continuous pushing (2 skates, 500 Hz) in one session of this
script and do all of their work. Sessions are made once and kept in the work folder.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import io
import json
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

if TYPE_CHECKING:
    from collections.abc import Callable

ROOT = Path(__file__).resolve().parents[2]
COMMAND = [sys.executable, "-c", "from imustride.cli import main; main()"]
USUAL = ROOT / "tests" / "benchmark" / "usual_script.py"
RATE_HZ = 500.0
SKATES = 2
WIRING = {"pipeline", "runs", "reading", "registry", "settings"}


class Stopwatch:
    """Time spent in each stage itself, without the stages it calls."""

    def __init__(self) -> None:
        self.spent_s: dict[str, float] = defaultdict(float)
        self._inner_s = [0.0]

    def timed(self, stage: str, function: Callable[..., Any]) -> Callable[..., Any]:
        """Return the function with its time counted for a stage."""

        @functools.wraps(function)
        def run(*args: Any, **kwargs: Any) -> Any:
            self._inner_s.append(0.0)
            begin = time.perf_counter()
            try:
                return function(*args, **kwargs)
            finally:
                whole = time.perf_counter() - begin
                self.spent_s[stage] += whole - self._inner_s.pop()
                self._inner_s[-1] += whole

        return run

    def watch(self, wiring: Any) -> None:
        """Count every stage function that a module of the wiring calls by name, and the filters it looks up."""
        for name, value in list(vars(wiring).items()):
            module = getattr(value, "__module__", None) or ""
            if callable(value) and not isinstance(value, type) and module.startswith("imustride."):
                stage = module.split(".")[1]
                if stage not in WIRING:
                    setattr(wiring, name, self.timed(stage, value))
        if not hasattr(wiring, "methods"):
            return
        look_up = wiring.methods

        def methods(stage: str) -> dict[str, Any]:
            found = look_up(stage)
            if stage != "orientation":
                return found
            return {k: replace(v, estimate=self.timed(stage, v.estimate)) for k, v in found.items()}

        wiring.methods = methods


def analyse_once(folder: Path, warm: Path) -> dict[str, Any]:
    """Analyse one session in this process; seconds, samples, pushes, stages, memory."""
    from imustride import pipeline, reading, runs

    pipeline.analyse_session(warm)  # what is imported on the way is not counted here
    watch = Stopwatch()
    for wiring in (pipeline, runs, reading):
        watch.watch(wiring)
    begin = time.perf_counter()
    result = pipeline.analyse_session(folder)
    whole_s = time.perf_counter() - begin
    samples = sum(len(k.measured) for run in result.runs for k in run.kinematics.values())
    return {
        "seconds": whole_s,
        "samples": samples,
        "pushes": len(result.pushes),
        "stages": dict(watch.spent_s) | {"pipeline itself": whole_s - sum(watch.spent_s.values())},
        "memory_mb": peak_memory_mb(),
    }


def peak_memory_mb() -> float:
    """Return the most memory this process has held."""
    status = Path("/proc/self/status")
    if status.exists():  # the resource usage of a new process begins with that of its parent
        return float(status.read_text().split("VmHWM:")[1].split()[0]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def in_child(folder: Path, repeats: int) -> dict[str, Any]:
    """Run `analyse_once` in fresh processes; the fastest."""
    warm = folder.parent / "1-hdf5"
    command = [sys.executable, "-m", "tests.benchmark.speed", "--one", str(folder), str(warm)]
    found = [
        json.loads(subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout)
        for _ in range(repeats)
    ]
    return min(found, key=lambda one: one["seconds"])


def usual_in_process(folder: Path, out: Path) -> tuple[float, int]:
    """Time the usual script's work without starting Python [s]; also its number of pushes."""
    from tests.benchmark import usual_script

    begin = time.perf_counter()
    with contextlib.redirect_stdout(io.StringIO()):
        pushes = usual_script.main(str(folder / "left_skate.csv"), str(folder / "right_skate.csv"), str(out))
    return time.perf_counter() - begin, len(pushes)


def command_s(command: list[str], repeats: int) -> float:
    """Wall time of a whole command, the fastest of some [s]."""
    best = float("inf")
    for _ in range(repeats):
        begin = time.perf_counter()
        subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
        best = min(best, time.perf_counter() - begin)
    return best


def against_the_usual_script(work: Path, repeats: int) -> None:
    """Print both sides on the same ten minutes."""
    from tests.benchmark.long_session import write

    folders = {layout: work / f"10-{layout}" for layout in ("csv", "hdf5")}
    write(work / "1-hdf5", 1, "hdf5")
    true_pushes = {write(folder, 10, layout) for layout, folder in folders.items()}.pop()
    usual_s, usual_pushes = usual_in_process(folders["csv"], work / "usual.csv")
    files = [str(folders["csv"] / f"{side}_skate.csv") for side in ("left", "right")]
    usual_command_s = command_s([sys.executable, str(USUAL), *files, str(work / "usual.csv")], 1)
    print(f"\n10 min, 2 skates, 500 Hz, {true_pushes} true pushes; usual script finds {usual_pushes}\n")
    print("| | usual script, s | imustride, s | times faster |\n|---|---|---|---|")
    for layout, folder in folders.items():
        ours = in_child(folder, repeats)
        print(
            f"| in process, {layout} ({ours['pushes']} rows) | {usual_s:.2f} | {ours['seconds']:.3f} | {usual_s / ours['seconds']:.1f} |"
        )
        out = work / f"out-{layout}"
        ours_s = command_s([*COMMAND, "analyse", str(folder), "--out", str(out), "--quiet"], repeats)
        wanted = ("pushes.csv", "summary.html", "session.h5", "provenance.json")
        missing = [name for name in wanted if not (out / name).exists()]
        written = f"{sum(f.stat().st_size for f in out.rglob('*')) / 1e6:.0f} MB written" + (
            f", MISSING {missing}" if missing else ""
        )
        print(
            f"| whole command, {layout} ({written}) | {usual_command_s:.2f} | {ours_s:.2f} | {usual_command_s / ours_s:.1f} |",
            flush=True,
        )
        shutil.rmtree(out)
        if layout == "hdf5":
            stages = sorted(ours["stages"].items(), key=lambda item: -item[1])
            print("\n| stage | ns/sample |\n|---|---|")
            print("\n".join(f"| {name} | {spent / ours['samples'] * 1e9:.0f} |" for name, spent in stages))
            print(f"| all | {ours['seconds'] / ours['samples'] * 1e9:.0f} |", flush=True)


def linearity(work: Path, lengths_min: list[float], repeats: int) -> None:
    """Print cost and memory over length, from HDF5."""
    from tests.benchmark.long_session import write

    print(
        "\n| length, min | true pushes | rows | s | ns/sample | peak memory, MB | bytes/sample |\n|---|---|---|---|---|---|---|"
    )
    for minutes in lengths_min:
        folder = work / f"{minutes:g}-hdf5"
        true_pushes = write(folder, minutes, "hdf5")
        one = in_child(folder, repeats if minutes <= 10 else 1)
        per_sample = one["seconds"] / one["samples"] * 1e9
        size = one["memory_mb"] * 2**20 / one["samples"]
        print(
            f"| {minutes:g} | {true_pushes} | {one['pushes']} | {one['seconds']:.2f} | {per_sample:.0f} | "
            f"{one['memory_mb']:.0f} | {size:.0f} |",
            flush=True,
        )


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--work", type=Path, default=Path(tempfile.gettempdir()) / "imustride-speed")
    parser.add_argument("--lengths", default="1,10,60,180", help="minutes")
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument(
        "--one", type=Path, nargs=2, help="analyse one session, after another, and print figures as JSON"
    )
    options = parser.parse_args()
    if options.one is not None:
        print(json.dumps(analyse_once(*options.one)))
        return
    options.work.mkdir(parents=True, exist_ok=True)
    print(
        f"--help: {command_s([*COMMAND, '--help'], 5):.3f} s (Python alone {command_s([sys.executable, '-c', ''], 5):.3f} s)"
    )
    against_the_usual_script(options.work, options.repeats)
    linearity(options.work, [float(length) for length in options.lengths.split(",")], options.repeats)


if __name__ == "__main__":
    main()
