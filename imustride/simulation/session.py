"""Whole simulated sessions: several runs of one athlete on one day, and the folder they make."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from imustride.constants import HUNDRED_FEET_M, SKATES, STANDARD_GRAVITY_M_S2
from imustride.simulation.body_draw import chosen
from imustride.simulation.movements import movements
from imustride.simulation.run import SimulatedRun, draw_all, simulate

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Collection, Mapping, Sequence
    from pathlib import Path

    import pandas as pd

    from imustride.recording import SensorLog
    from imustride.session import Sensor
    from imustride.simulation.drawing import Draw
    from imustride.simulation.parameters import Device

Spoiling = Literal["stumble", "slip", "clip"]
Layout = Literal["csv", "hdf5"]

BETWEEN_RUNS_S = 240.0
GATE_NOISE_S = 0.002
FORM_RATIO = 0.01  # of the peak speed, from run to run (common practice, no source)
# A spoiled run: nearly down; a sensor turned in its mount; a range set far too small.
SPOILED: Mapping[str, dict[str, Any]] = {
    "stumble": {"stumble_ratio": 1.0},
    "slip": {"left_slip_deg": 35.0},
    "clip": {"left_acceleration_range_g": 2.0, "left_angular_velocity_range_deg_s": 250.0},
}


def simulate_session(
    seed: int,
    runs: int = 4,
    grade: str = "good",
    spoiled: Collection[int] = (),
    spoiled_by: Spoiling = "stumble",
    *,
    body: bool = False,
    places: Collection[str] = (),
    first_run: int = 0,
    **overrides: Any,
) -> list[SimulatedRun]:
    """Simulate the runs of one athlete on one day.

    Athlete, ice, devices, mounting and planted left-right differences stay the same; pushes vary, and the
    peak speed by 1 %.
    The devices' clocks run on between the runs.

    Parameters
    ----------
    seed : int
    runs : int
        Number of runs, named run-1, run-2, ...
    grade : {"good", "poor", "real_ice"}
    spoiled : collection of int
        Numbers of the runs, from 1, that go wrong.
    spoiled_by : {"stumble", "slip", "clip"}
        How: a stumble in mid-run, the left sensor turns by 35 degrees in its mount, or the left
        sensor was set to a range of 2 g and 250 deg/s.
    body, places
        As in `simulate_run`; the movements are recorded once, before the first run, and kept with every run.
    first_run : int
        Number of runs the athlete had before: those of another day are others.
    **overrides
        As in `simulate_run`, for all runs.

    Raises
    ------
    SettingsError
        If the grade, a place or an override is unknown.
    """
    simulated: list[SimulatedRun] = []
    worn = chosen(places, body=body)
    done: dict[str, dict[str, SensorLog]] = {}
    for run in range(runs):
        mishap = SPOILED[spoiled_by] if run + 1 in spoiled else {}
        drawn, bodily = draw_all(seed, grade, first_run + run, worn, overrides | mishap)
        if bodily is not None:
            done = done or movements(drawn, bodily)
            bodily = replace(bodily, devices=_started_later(bodily.devices, run * BETWEEN_RUNS_S))
        drawn = _in_form(drawn)
        drawn = replace(drawn, devices=_started_later(drawn.devices, run * BETWEEN_RUNS_S))
        simulated.append(replace(simulate(drawn, f"run-{run + 1}", bodily), movements=done))
    return simulated


def _in_form(drawn: Draw) -> Draw:
    """Make the athlete a little faster or slower than in the first run."""
    if drawn.run == 0:
        return drawn
    form = 1 + FORM_RATIO * float(np.random.default_rng([drawn.seed, 96, drawn.run]).standard_normal())
    return replace(drawn, skater=replace(drawn.skater, peak_speed_m_s=drawn.skater.peak_speed_m_s * form))


def _started_later(devices: Mapping[str, Device], by_s: float) -> dict[str, Device]:
    """Return devices on whose clocks a run starts later."""
    return {
        key: replace(
            device, clock_offset_s=device.clock_offset_s + by_s * (1 + device.clock_drift_ppm * 1e-6)
        )
        for key, device in devices.items()
    }


def write_session(
    folder: Path,
    runs: Sequence[SimulatedRun],
    athlete: str,
    date: dt.date,
    *,
    surface: Literal["ice", "synthetic"] = "ice",
    layout: Layout = "csv",
    acceleration_unit: Literal["m/s^2", "g"] = "m/s^2",
    conditions: Mapping[str, str] | None = None,
    birth_year: int | None = None,
) -> None:
    """Write a session folder of the contract, with the truth beside it.

    Parameters
    ----------
    folder : Path
        Made where missing.
    runs : sequence of SimulatedRun
        Of one session; the sensors are declared as in the first.
    athlete : str
        A code, never a name.
    date : datetime.date
    surface : {"ice", "synthetic"}
    layout : {"csv", "hdf5"}
        A text file for each sensor and run, or one HDF5 file for each run.
    acceleration_unit : {"m/s^2", "g"}
        Of the files; angular velocity is in deg/s.
    conditions : mapping of str to str, optional
        Noted beside the usual ones.
    birth_year : int, optional

    Notes
    -----
    The gates' clock is zero at the first gate; it stops with 2 ms of noise when the body, ahead of
    the feet, cuts the beam. ``truth.csv`` holds the true pushes of all runs. With sensors on the body the
    movements of the first run are written to ``movements/`` and declared, and ``[body]`` gives measured lengths.
    """
    import pandas as pd

    folder.mkdir(parents=True, exist_ok=True)
    factors = runs[0].factors
    rng = np.random.default_rng([int(factors["seed"]), 95])
    noted = [f"start_behind_m = {float(factors['start_behind_m']):.2f}", "simulated = true"]
    noted += [f'{name} = "{value}"' for name, value in (conditions or {}).items()]
    born = [] if birth_year is None else [f"birth_year = {birth_year}"]
    lines = _head(athlete, date, surface, layout, acceleration_unit, born, noted)
    if runs[0].body:
        lines += ["", "[body]", *(f"{key} = {length_m:.3f}" for key, length_m in runs[0].body.items())]
    for log in runs[0].logs.values():
        lines += _sensor_lines(log.sensor)
    truths = []
    for number, run in enumerate(runs, start=1):
        name = f"run-{number}"
        files = _write_logs(folder, name, run.logs, layout, acceleration_unit)
        lines += ["", "[[runs]]", f'name = "{name}"', files]
        if _write_gates(folder / name, run.gates_s, rng):
            lines.append(f'gates = "{name}/gates.csv"')
        truths.append(run.truth.assign(run=name))
    for kind, logs in runs[0].movements.items():
        files = _write_logs(folder, "movements", logs, layout, acceleration_unit)
        lines += ["", "[[movements]]", f'kind = "{kind}"', files]
    (folder / "session.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    _write_table(pd.concat(truths).round(6), folder / "truth.csv")


def _head(
    athlete: str,
    date: dt.date,
    surface: str,
    layout: Layout,
    acceleration_unit: str,
    born: Sequence[str],
    noted: Sequence[str],
) -> list[str]:
    """Lines of the session file before the sensors."""
    names = ('"acc"', '"gyr"') if layout == "hdf5" else ('["ax", "ay", "az"]', '["gx", "gy", "gz"]')
    return [
        "# An invented athlete: simulated motion and sensors.",
        f'athlete = "{athlete}"',
        f"date = {date.isoformat()}",
        f'surface = "{surface}"',
        'protocol = "sprint-100ft"',
        'consent = "guardian"',
        *born,
        "",
        "[conditions]",
        *noted,
        "",
        "[columns]",
        f'time = "{"time" if layout == "hdf5" else "time_s"}"',
        f"acceleration = {names[0]}",
        f"angular_velocity = {names[1]}",
        "",
        "[units]",
        'time = "s"',
        f'acceleration = "{acceleration_unit}"',
        'angular_velocity = "deg/s"',
    ]


def _sensor_lines(sensor: Sensor) -> list[str]:
    """Lines of one [[sensors]] entry: what is declared, and only that."""
    lines = ["", "[[sensors]]", f'place = "{sensor.place}"', f'device = "{sensor.device}"']
    if sensor.axes is not None:
        lines.append("axes = [" + ", ".join(f'"{axis}"' for axis in sensor.axes) + "]")
    if sensor.position_m is not None:
        lines.append("position_m = [" + ", ".join(f"{value:.3f}" for value in sensor.position_m) + "]")
    numbers = ("acceleration_range_g", "angular_velocity_range_deg_s", "bandwidth_hz", "delay_ms")
    return lines + [f"{key} = {getattr(sensor, key)}" for key in numbers if getattr(sensor, key) is not None]


def _write_logs(
    folder: Path, name: str, logs: Mapping[str, SensorLog], layout: Layout, acceleration_unit: str
) -> str:
    """Write the logs of one run or movement into their own folder; return the line of its `files`."""
    (folder / name).mkdir(exist_ok=True)
    per_unit = STANDARD_GRAVITY_M_S2 if acceleration_unit == "g" else 1.0
    entries = []
    for place, log in logs.items():
        acceleration, turning = log.acceleration_m_s2 / per_unit, np.degrees(log.angular_velocity_rad_s)
        if layout == "hdf5":
            file = "skates.h5" if set(logs) <= set(SKATES) else "sensors.h5"
            _write_hdf5(folder / name / file, place, log.time_s, acceleration, turning)
            entries.append(f'{place} = "{name}/{file}#/{place}"')
        else:
            digits = 5 if acceleration_unit == "g" else 4
            _write_text(
                folder / name / f"{place}.csv", log.time_s, acceleration.round(digits), turning.round(3)
            )
            entries.append(f'{place} = "{name}/{place}.csv"')
    return "files = { " + ", ".join(entries) + " }"


def _write_text(path: Path, time_s: np.ndarray, acceleration: np.ndarray, turning: np.ndarray) -> None:
    """Write one sensor's samples as delimited text."""
    import pandas as pd

    table = pd.DataFrame(np.hstack([acceleration, turning]), columns=["ax", "ay", "az", "gx", "gy", "gz"])
    table.insert(0, "time_s", time_s.round(6))
    _write_table(table, path)


def _write_table(table: pd.DataFrame, path: Path) -> None:
    table.to_csv(path, index=False, lineterminator="\n", encoding="utf-8")


def _write_hdf5(
    path: Path, place: str, time_s: np.ndarray, acceleration: np.ndarray, turning: np.ndarray
) -> None:
    """Add one sensor's group to an HDF5 file; time stays double, single would round it to 10 us."""
    import h5py

    with h5py.File(path, "a") as file:
        group = file.require_group(place)
        for key, values in (("time", time_s), ("acc", acceleration), ("gyr", turning)):
            kind = values.dtype if key == "time" else np.float32
            group.create_dataset(key, data=values.astype(kind), compression="gzip", shuffle=True)


def _write_gates(folder: Path, gates_s: tuple[float, float], rng: np.random.Generator) -> bool:
    """Write gate times from the first gate on; False where the body never reached the last."""
    if not np.all(np.isfinite(gates_s)):
        return False
    time_s = gates_s[1] - gates_s[0] + float(rng.normal(0, GATE_NOISE_S))
    text = f"position_m,time_s\n0.0,0.000\n{HUNDRED_FEET_M},{time_s:.3f}\n"
    (folder / "gates.csv").write_text(text, encoding="utf-8")
    return True
