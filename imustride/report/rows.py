"""Rows of the tables a terminal shows, as text."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.report.measures import PLACES, measure
from imustride.report.words import MISSING, interval, label, number, unit

if TYPE_CHECKING:
    from collections.abc import Collection

    import pandas as pd

    from imustride.report.measures import Place

NO_INTERVAL = "too few pushes for an interval"
REMEDIES = {
    "more_runs": "more runs are needed",
    "better_calibration": "more runs cannot tell, only better sensors or calibration",
    "near_smallest_difference": "too near to the smallest difference",
}


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


def wanted(symmetry: pd.DataFrame, places: Collection[Place] = PLACES) -> pd.DataFrame:
    """Return the rows of ``symmetry.csv`` that a page speaks of: the phases apart, metrics of these places."""
    there = symmetry["metric"].map(lambda metric: measure(metric).place in places).astype(bool)
    return symmetry[(symmetry["phase"] != "all") & there]


def compared(symmetry: pd.DataFrame, places: Collection[Place] = PLACES) -> pd.DataFrame:
    """Return the rows of ``symmetry.csv`` that a page shows: measured, by metric, the phases apart."""
    rows = wanted(symmetry, places)
    rows = rows[rows["verdict"] != "not measured"]
    order = {metric: place for place, metric in enumerate(symmetry["metric"].unique())}
    return rows.sort_values("metric", key=lambda metrics: metrics.map(order), kind="stable")


def headlines(symmetry: pd.DataFrame) -> pd.DataFrame:
    """Return the few rows that stand for the others; all where none of them is there."""
    few = symmetry[symmetry["metric"].map(lambda metric: measure(metric).headline).astype(bool)]
    return few if len(few) else symmetry


def symmetry_rows(symmetry: pd.DataFrame) -> list[dict[str, str]]:
    """Return the rows of the comparison of left and right."""
    return [_symmetry_row(row) for row in compared(symmetry).to_dict("records")]


def _symmetry_row(row: dict[Any, Any]) -> dict[str, str]:
    of = row["unit"]
    if np.isfinite(row["symmetry_index_percent"]):
        names, in_unit = ("symmetry_index_percent", "ci_low_percent", "ci_high_percent"), "%"
        systematic = row.get("systematic_percent", np.nan)
    else:
        names, in_unit = ("difference", "difference_ci_low", "difference_ci_high"), of
        systematic = row.get("systematic_difference", np.nan)
    value, low, high = (float(row[name]) for name in names)
    between = interval(low, high, in_unit)
    return {
        "what": f"{label(row['metric'])} [{unit(of)}], {row['phase']}",
        "left": number(row["left_mean"], of),
        "right": number(row["right_mean"], of),
        "left_spread": _framed("({} %)", row["left_cv_percent"], "%"),
        "right_spread": _framed("({} %)", row["right_cv_percent"], "%"),
        "against": f"{number(value, in_unit, sign=True)} {unit(in_unit)}",
        "interval": NO_INTERVAL if between == MISSING else between,
        "systematic": _framed("±{}", systematic, in_unit),
        "sizes": f"{int(row['n_left'])}, {int(row['n_right'])}; {int(row['n_runs'])}",
        "verdict": row["verdict"] + _remedy(row),
    }


def _framed(frame: str, value: float, of: str) -> str:
    """A number within other signs; nothing at all where it is missing."""
    return frame.format(number(value, of)) if np.isfinite(value) else ""


def _remedy(row: dict[Any, Any]) -> str:
    """What would turn "unclear" into an answer."""
    import pandas as pd

    needed = row.get("runs_needed")
    if row.get("advice") == "more_runs" and not pd.isna(needed):
        return f": {int(needed)} runs in all would tell"
    words = REMEDIES.get(row.get("advice", ""))
    return f": {words}" if words else ""
