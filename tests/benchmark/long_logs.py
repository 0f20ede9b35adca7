"""Cutting an evening: time and peak memory of `imustride prepare --cut`, and of analysing and checking runs of a whole log.

``python -m tests.benchmark.long_logs --hours 1 --sensors 3 --folder evening``

The logs are HDF5 of int16 counts at 1 kHz with a time stamp a sample: simulated runs, the same six again and again,
among rest and skating about. The command runs as a process of its own; its peak is what the system counted for it.
"""

from __future__ import annotations

import argparse
import datetime as dt
import json
import subprocess
import sys
import time
from pathlib import Path

import h5py
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.generators.evening import Evening, Part, evening

RATE_HZ = 1000.0
PLACES = (
    "pelvis", "trunk", "head", "left_shank", "right_shank", "left_thigh", "right_thigh", "left_wrist", "right_wrist",
)  # fmt: skip
ATHLETES = {"A07": 3, "B10": 4, "C13": 5}
# Of the counts: 16 g and 2000 deg/s.
M_S2, RAD_S = 16 * 9.80665 / 32768, np.radians(2000) / 32768
EACH_S = 150.0  # from run to run
KIT = """\
surface = "ice"
protocol = "sprint-100ft"
logs = "{place}.h5"
calibrations = "calibration"
[columns]
time = "time"
acceleration = "acc"
angular_velocity = "gyr"
[units]
time = "s"
acceleration = "counts"
angular_velocity = "counts"
"""
CALIBRATION = """\
device = "{device}"
date = 2026-09-20
method = "nominal"
gravity_m_s2 = 9.81
[accelerometer]
bias_counts = [0.0, 0.0, 0.0]
matrix = [[{a}, 0.0, 0.0], [0.0, {a}, 0.0], [0.0, 0.0, {a}]]
[gyroscope]
bias_counts = [0.0, 0.0, 0.0]
matrix = [[{g}, 0.0, 0.0], [0.0, {g}, 0.0], [0.0, 0.0, {g}]]
"""


def long_evening(hours: float, sensors: int) -> Evening:
    """Simulate two runs of each athlete, and repeat them in turn until the evening is full."""
    base = evening(ATHLETES, 2, rate_hz=RATE_HZ, places=PLACES[: sensors - 2])
    runs = [part for _, part in base.runs()]
    rng = np.random.default_rng(1)
    parts, filled_s, number = [Part("rest", 60.0), Part("skating", 120.0)], 180.0, 0
    while filled_s < hours * 3600 - EACH_S:
        run = runs[number % len(runs)]
        again = Part(
            "run", run.length_s, run.logs, run.athlete, f"run-{number // len(ATHLETES) + 1}", run.gate_time_s
        )
        skating_s = rng.uniform(20.0, 60.0)
        rest_s = EACH_S - run.length_s - skating_s - 10.0
        parts += [
            Part("rest", rest_s),
            Part("skating", skating_s),
            Part("rest", 9.0),
            again,
            Part("rest", 1.0),
        ]
        filled_s, number = filled_s + EACH_S, number + 1
    return Evening(tuple(parts), RATE_HZ, base.places)


def write(folder: Path, whole: Evening) -> None:
    """Write the logs in chunks, the list and the kit."""
    (folder / "calibration").mkdir(parents=True, exist_ok=True)
    devices = {place: f"S{number:03d}" for number, place in enumerate(whole.places)}
    for place, device in devices.items():
        (folder / "calibration" / device).mkdir(exist_ok=True)
        text = CALIBRATION.format(device=device, a=M_S2, g=RAD_S)
        (folder / "calibration" / device / "2026-09-20.toml").write_text(text, encoding="utf-8")
        with h5py.File(folder / f"{place}.h5", "w") as file:
            options = {"chunks": True, "compression": "lzf", "shuffle": True}
            stamps = file.create_dataset("time", (0,), "f8", maxshape=(None,), **options)
            triads = [
                file.create_dataset(name, (0, 3), "i2", maxshape=(None, 3), **options)
                for name in ("acc", "gyr")
            ]
            for chunk in whole.chunks(place):
                first, last = len(stamps), len(stamps) + len(chunk)
                stamps.resize(last, axis=0)
                stamps[first:] = chunk[:, 0]
                for dataset, values in zip(triads, (chunk[:, 1:4] / M_S2, chunk[:, 4:] / RAD_S), strict=True):
                    dataset.resize(last, axis=0)
                    dataset[first:] = np.clip(np.rint(values), -32768, 32767)
    header = [
        "date",
        "time",
        "athlete",
        "consent",
        "run",
        "gate_30.48_m_time_s",
        *(f"{place}_device" for place in devices),
    ]
    lines = [",".join(header)]
    for begin_s, part in whole.runs():
        when = dt.datetime(2026, 10, 3, 17, 0) + dt.timedelta(seconds=begin_s)  # noqa: DTZ001 - no zone in the list
        cells = ["2026-10-03", f"{when:%H:%M}", part.athlete, "guardian", part.run, f"{part.gate_time_s:.3f}"]
        lines.append(",".join([*cells, *devices.values()]))
    (folder / "list.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (folder / "kit.toml").write_text(KIT, encoding="utf-8")


# The peak that the system counts for a process begins with that of the one it was forked from; this is its own.
CODE = """
import sys
import time
from pathlib import Path
from imustride.cli.boundary import run
status = run(sys.argv[1:])
peak = next(line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM"))
print(time.process_time(), peak.split()[1], file=sys.stderr)
sys.exit(status)
"""


def measured(*arguments: object) -> tuple[int, str, str]:
    """Run the command; return exit status, stdout, and its seconds and peak memory in words."""
    begin_s = time.monotonic()
    done = subprocess.run(  # noqa: PLW1510 - a status of 3 is told
        [sys.executable, "-c", CODE, *map(str, arguments)], capture_output=True, text=True
    )
    if done.returncode not in {0, 3}:
        print(done.stderr[-2000:])
    processor_s, peak = map(float, done.stderr.split()[-2:])
    words = (
        f"{time.monotonic() - begin_s:.0f} s ({processor_s:.0f} s of the processor), {peak / 1024:.0f} MiB"
    )
    return done.returncode, done.stdout, words


def whole_logs(folder: Path, spans_s: list[list[float]]) -> Path:
    """Make a session of some runs, by start_s and end_s in whole logs."""
    text = (folder / "list.csv").read_text(encoding="utf-8").splitlines()
    places = [name.removesuffix("_device") for name in text[0].split(",") if name.endswith("_device")]
    devices = text[1].split(",")[-len(places) :]
    session = [
        'athlete = "A07"',
        "date = 2026-10-03",
        *KIT.split("calibrations", maxsplit=1)[0].splitlines()[:2],
    ]
    session += KIT[KIT.index("[columns]") :].splitlines()
    for place, device in zip(places, devices, strict=True):
        calibration = f"../calibration/{device}/2026-09-20.toml"
        session += [
            "[[sensors]]",
            f'place = "{place}"',
            f'device = "{device}"',
            f'calibration = "{calibration}"',
        ]
    one = folder / "one"
    one.mkdir(exist_ok=True)
    for place in places:
        (one / f"{place}.h5").unlink(missing_ok=True)
        (one / f"{place}.h5").hardlink_to(folder / f"{place}.h5")
    files = ", ".join(f'{place} = "{place}.h5"' for place in places)
    for number, (start_s, end_s) in enumerate(spans_s, start=1):
        session += ["[[runs]]", f'name = "run-{number}"', f"files = {{ {files} }}"]
        session += [f"start_s = {start_s}", f"end_s = {end_s}"]
    (one / "session.toml").write_text("\n".join(session) + "\n", encoding="utf-8")
    return one


def main() -> None:
    """Write the evening where it is missing, cut it, analyse and check one session, print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=1.0)
    parser.add_argument("--sensors", type=int, default=3)
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--only", choices=("pieces", "analyse", "check"), help="beside the dry run")
    options = parser.parse_args()
    if not (options.folder / "kit.toml").exists():
        begin_s = time.monotonic()
        write(options.folder, long_evening(options.hours, options.sensors))
        print(f"written in {time.monotonic() - begin_s:.0f} s")
    lines = len((options.folder / "list.csv").read_text(encoding="utf-8").splitlines()) - 1
    out = options.folder / "out"
    status, text, words = measured(
        "prepare", options.folder / "list.csv", "--cut", "--out", out, "--json", "--dry-run"
    )
    found = json.loads(text)["cut"] if text else []
    matched = sum(bool(line["spans_s"]) for group in found for line in group["lines"])
    print(
        f"{options.hours:g} h, {options.sensors} sensors, dry run: exit {status}, {matched} of {lines} lines, {words}"
    )
    one = whole_logs(options.folder, [line["spans_s"]["left_skate"] for line in found[0]["lines"][:4]])
    for name, what, arguments in (
        (
            "pieces",
            "with pieces written",
            ("prepare", options.folder / "list.csv", "--cut", "--partial", "--out", out),
        ),
        (
            "analyse",
            "four runs of whole logs analysed",
            ("analyse", one, "--out", options.folder / "results"),
        ),
        ("check", "four runs of whole logs checked", ("check", one)),
    ):
        if options.only in {None, name}:
            status, _, words = measured(*arguments, "--quiet")
            print(f"{what}: exit {status}, {words}")


if __name__ == "__main__":
    main()
