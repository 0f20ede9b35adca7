"""Runs of the second generator as a session folder of the contract."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from pathlib import Path

    from imustride.recording import SensorLog
    from imustride.session import Sensor
    from tests.generators.second import SimulatedRun

HEADER = """\
athlete  = "{athlete}"
date     = 2026-10-03
surface  = "ice"
protocol = "sprint-100ft"
consent  = "self"

[columns]
time = "time_s"
acceleration = ["ax", "ay", "az"]
angular_velocity = ["gx", "gy", "gz"]

[units]
time = "s"
acceleration = "m/s^2"
angular_velocity = "deg/s"
"""
TOLD = (
    "device", "axes", "position_m", "mount", "acceleration_range_g", "angular_velocity_range_deg_s",
    "bandwidth_hz", "delay_ms",
)  # fmt: skip


def write_session(runs: list[SimulatedRun], folder: Path, athlete: str = "Q2") -> None:
    """Write runs of one day as a session folder, with `truth.csv` beside `session.toml`.

    Where a body is worn, the movements are those made after the first run.

    Parameters
    ----------
    runs : list of SimulatedRun
        Simulated with equal `day` and grade: they share the sensors.
    folder : Path
        New or empty folder.
    athlete : str
        Invented code.
    """
    parts = [HEADER.format(athlete=athlete)]
    parts += [_sensor(log.sensor) for log in runs[0].logs.values()]
    truths = []
    for k, run in enumerate(runs, start=1):
        name = f"run-{k}"
        (folder / name).mkdir(parents=True)
        files = []
        for place, log in run.logs.items():
            _table(log).to_csv(folder / name / f"{place}.csv", index=False)
            files.append(f'{place} = "{name}/{place}.csv"')
        parts.append(f'[[runs]]\nname = "{name}"\nfiles = {{ {", ".join(files)} }}\n')
        truths.append(run.truth.assign(run=name))
    for kind, logs in runs[0].movements.items():
        parts.append(_movement(kind, logs, folder))
    if runs[0].body:
        lengths = "\n".join(f"{name} = {value:.3f}" for name, value in runs[0].body.items())
        parts.append(f"[body]\n{lengths}\n")
    (folder / "session.toml").write_text("\n".join(parts), encoding="utf-8")
    pd.concat(truths, ignore_index=True).to_csv(folder / "truth.csv", index=False)


def _movement(kind: str, logs: dict[str, SensorLog], folder: Path) -> str:
    """Write one recording of movements and return its entry."""
    name = f"movements-{kind}"
    (folder / name).mkdir(parents=True)
    files = []
    for place, log in logs.items():
        _table(log).to_csv(folder / name / f"{place}.csv", index=False)
        files.append(f'{place} = "{name}/{place}.csv"')
    return f'[[movements]]\nkind = "{kind}"\nfiles = {{ {", ".join(files)} }}\n'


def _sensor(sensor: Sensor) -> str:
    lines = ["[[sensors]]", f'place = "{sensor.place}"']
    for name in TOLD:
        value = getattr(sensor, name)
        if value is not None:
            lines.append(f"{name} = {_toml(value)}")
    return "\n".join(lines) + "\n"


def _toml(value: str | float | tuple[str | float, ...]) -> str:
    if isinstance(value, tuple):
        return f"[{', '.join(_toml(v) for v in value)}]"
    return f'"{value}"' if isinstance(value, str) else repr(float(value))


def _table(log: SensorLog) -> pd.DataFrame:
    """Columns of the file; rounded far below the sensor's last bit."""
    table = pd.DataFrame({"time_s": np.round(log.time_s, 6)})
    table[["ax", "ay", "az"]] = np.round(log.acceleration_m_s2, 5)
    table[["gx", "gy", "gz"]] = np.round(np.degrees(log.angular_velocity_rad_s), 4)
    return table
