"""Rows of the page's tables, as text."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.report.drawing import FEET
from imustride.report.words import MISSING, flags, interval, label, number, unit

if TYPE_CHECKING:
    import pandas as pd

# Column of pushes.csv, its heading, the unit that sets its decimals.
PUSH_COLUMNS = (
    ("blade_on_s", "on [s]", "s"),
    ("blade_off_s", "off [s]", "s"),
    ("contact_time_s", "contact [s]", "s"),
    ("swing_time_s", "swing [s]", "s"),
    ("step_time_s", "step [s]", "s"),
    ("double_support_s", "both on the ice [s]", "s"),
    ("push_off_angular_velocity_deg_s", "push-off [°/s]", "deg/s"),
    ("edge_angle_deg", "edge [°]", "deg"),
    ("track_angle_deg", "track [°]", "deg"),
    ("blade_speed_m_s", "blade speed [m/s]", "m/s"),
    ("stride_length_m", "stride [m]", "m"),
    ("lateral_travel_m", "sideways [m]", "m"),
)


def run_rows(runs: pd.DataFrame, pushes: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows of the table of runs."""
    return [
        {
            "name": row["run"],
            "gate_time": number(row["gate_time_s"], "s"),
            "left": int(row["pushes_left"]),
            "right": int(row["pushes_right"]),
            "steps": _step_rate(row["step_rate_hz"], pushes[pushes["run"] == row["run"]]),
            "usable": bool(row["usable"]),
            "reason": row["reason"],
        }
        for row in runs.to_dict("records")
    ]


def _step_rate(rate_hz: float, pushes: pd.DataFrame) -> str:
    """Step rate with the number and the spread of the steps it is the mean of."""
    steps_s = pushes["step_time_s"].to_numpy(dtype=float)
    each_hz = 1 / steps_s[np.isfinite(steps_s)]
    if not np.isfinite(rate_hz) or len(each_hz) < 2:
        return MISSING
    return f"{number(rate_hz, 'Hz')} (SD {number(float(np.std(each_hz, ddof=1)), 'Hz')}, n {len(each_hz)})"


def symmetry_rows(symmetry: pd.DataFrame) -> list[dict[str, str]]:
    """Return the rows of the comparison of left and right, those not measured left out."""
    measured = symmetry[symmetry["verdict"] != "not measured"]
    return [_symmetry_row(row) for row in measured.to_dict("records")]


def _symmetry_row(row: dict[Any, Any]) -> dict[str, str]:
    of = row["unit"]
    means = {}
    for side in FEET:
        spread = number(row[f"{side}_cv_percent"], "%")
        mean = number(row[f"{side}_mean"], of)
        means[side] = mean if spread == MISSING else f"{mean} ({spread} %)"
    if np.isfinite(row["symmetry_index_percent"]):
        against = _with_interval(
            row["symmetry_index_percent"], row["ci_low_percent"], row["ci_high_percent"], "%"
        )
    else:
        against = _with_interval(row["difference"], row["difference_ci_low"], row["difference_ci_high"], of)
    return {
        "what": f"{label(row['metric'])} [{unit(of)}], {row['phase']}",
        **means,
        "against": against,
        "sizes": f"{int(row['n_left'])}, {int(row['n_right'])}; {int(row['n_runs'])}",
        "verdict": row["verdict"],
    }


def _with_interval(value: float, low: float, high: float, of: str) -> str:
    return f"{number(value, of, sign=True)} {unit(of)} ({interval(low, high, of)})"


def push_table(pushes: pd.DataFrame) -> tuple[list[str], list[list[str]]]:
    """Return headings and rows of the table of pushes: only columns with at least one value."""
    columns = [c for c in PUSH_COLUMNS if c[0] in pushes and pushes[c[0]].notna().any()]
    headings = ["run", "foot", "push", "phase", *(heading for _, heading, _ in columns), "remarks"]
    rows = [
        [
            row["run"],
            FEET[row["side"]].letter,
            str(int(row["push"])),
            row["phase"],
            *(number(row[name], of) for name, _, of in columns),
            flags(row["flags"]),
        ]
        for row in pushes.to_dict("records")
    ]
    return headings, rows


def accuracy_rows() -> list[dict[str, str]]:
    """Return the rows of the table of simulated accuracy."""
    text = (Path(__file__).parent / "accuracy.toml").read_text(encoding="utf-8")
    return [
        {
            "what": label(column["name"]),
            "bias": f"{number(column['bias'], column['unit'], sign=True)} {unit(column['unit'])}",
            "sd": f"{number(column['sd'], column['unit'])} {unit(column['unit'])}",
            "n": str(column["n"]),
            "conditions": column["conditions"],
        }
        for column in tomllib.loads(text)["column"]
    ]
