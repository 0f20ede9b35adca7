"""A session of continuous pushing of any length: two skates, 500 Hz, stance and shocks at both ends.

Up to ten minutes come from the second motion generator as they are: every push another one. Longer
sessions repeat a stretch of pushing from the middle, which costs some degrees of attitude at each seam
and nothing else.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import h5py
import numpy as np
import pandas as pd

from tests.generators.second import simulate_run

if TYPE_CHECKING:
    from pathlib import Path

RATE_HZ = 500.0
STEP_S = 0.575  # between pushes, both feet together
STRETCH_MIN = 10.0
FACTORS = {
    "rate_hz": RATE_HZ,
    "stride_start_s": 1.1,
    "stride_end_s": 1.2,
    "log_cut": "none",
    "clock_drift_ppm": 0.0,
}
HEAD = """\
athlete  = "Q2"
date     = 2026-10-03
surface  = "ice"
protocol = "continuous"
consent  = "self"

[columns]
time = "{time}"
acceleration = {acceleration}
angular_velocity = {angular_velocity}

[units]
time = "s"
acceleration = "m/s^2"
angular_velocity = "deg/s"

[[sensors]]
place = "left_skate"

[[sensors]]
place = "right_skate"

[[runs]]
name = "run-1"
files = {{ left_skate = "{left}", right_skate = "{right}" }}
"""


def continuous(minutes: float) -> tuple[dict[str, np.ndarray], int]:
    """Return both skates' samples (time s, acceleration m/s^2, rate deg/s; (n, 7)) and the number of pushes."""
    simulated = simulate_run(9001, "good", pushes=round(min(minutes, STRETCH_MIN) * 60 / STEP_S), **FACTORS)
    samples = {
        place: np.column_stack([log.time_s, log.acceleration_m_s2, np.degrees(log.angular_velocity_rad_s)])
        for place, log in simulated.logs.items()
    }
    extra = round(minutes / STRETCH_MIN) - 1
    if extra <= 0:
        return samples, len(simulated.truth)
    pushes = simulated.truth[~simulated.truth["standing"]]
    # The same stretch of time on both feet, else they would fall out of step.
    begin_s, end_s = pushes.loc[pushes["side"] == "left", "blade_off_s"].to_numpy()[[5, -5]]
    count = round((end_s - begin_s) * RATE_HZ)
    for place, rows in samples.items():
        own = pushes[pushes["side"] == place.removesuffix("_skate")]
        first = np.searchsorted(rows[:, 0], begin_s + (own["blade_off_own_s"] - own["blade_off_s"]).median())
        samples[place] = repeated(rows, first, first + count, extra)
    again = int(pushes["blade_off_s"].between(begin_s, end_s, inclusive="left").sum())
    return samples, len(simulated.truth) + extra * again


def repeated(samples: np.ndarray, first: int, last: int, extra: int) -> np.ndarray:
    """Put `extra` copies of the rows `first` to `last` behind themselves, with time going on."""
    parts = [samples[:last], *[samples[first:last]] * extra, samples[last:]]
    joined = np.concatenate(parts)
    joined[:, 0] = samples[0, 0] + np.arange(len(joined)) / RATE_HZ
    return joined


def write(folder: Path, minutes: float, layout: str) -> int:
    """Write the session in one layout (`csv` or `hdf5`), unless it is there; return the number of pushes."""
    note = folder / "pushes.txt"
    if note.exists():
        return int(note.read_text(encoding="utf-8"))
    samples, pushes = continuous(minutes)
    folder.mkdir(parents=True, exist_ok=True)
    if layout == "csv":
        names = {
            "time": "time_s",
            "acceleration": '["ax", "ay", "az"]',
            "angular_velocity": '["gx", "gy", "gz"]',
        }
        for place, rows in samples.items():
            table = pd.DataFrame(rows.round(5), columns=["time_s", "ax", "ay", "az", "gx", "gy", "gz"])
            table.to_csv(folder / f"{place}.csv", index=False)
        files = {"left": "left_skate.csv", "right": "right_skate.csv"}
    else:
        names = {"time": "time", "acceleration": '"acc"', "angular_velocity": '"gyr"'}
        with h5py.File(folder / "skates.h5", "w") as file:
            for place, rows in samples.items():
                parts = {
                    "time": rows[:, 0],
                    "acc": rows[:, 1:4].astype("f4"),
                    "gyr": rows[:, 4:].astype("f4"),
                }
                for name, values in parts.items():
                    file[f"{place}/{name}"] = values
        files = {side: f"skates.h5#/{side}_skate" for side in ("left", "right")}
    (folder / "session.toml").write_text(HEAD.format(**names, **files), encoding="utf-8")
    note.write_text(str(pushes), encoding="utf-8")
    return pushes
