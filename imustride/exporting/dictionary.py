"""The data dictionary ``datapackage.json``: what every column of every table means.

The layout follows the open Data Package description (a list of resources, each with the fields of
its table); `unit`, `definition_number` and `source` are added to the fields of metrics.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from imustride.registry import Metric
    from imustride.session import Session


@dataclass(frozen=True, slots=True)
class Column:
    """A column that no metric describes."""

    kind: str
    unit: str
    description: str


_RUN = Column("string", "", "name of the run in the session")
_PERCENT_OF_MEAN = "detrended standard deviation within runs, of the mean"

# A metric's own descriptor goes before what stands here.
PUSHES: Mapping[str, Column] = {
    "run": _RUN,
    "side": Column("string", "", "foot: left or right"),
    "push": Column(
        "integer", "", "number of the push of that side in the run, from 1; 0: the foot lifted first"
    ),
    "phase": Column(
        "string", "", "acceleration: pushes 1 to 6 of the run, both feet together; later: the rest"
    ),
    "blade_on_s": Column("number", "s", "the blade meets the ice; empty when it stood there from the start"),
    "blade_off_s": Column("number", "s", "the blade leaves the ice; empty when the log ends before"),
    "track_angle_deg": Column(
        "number", "deg", "running direction, outward from the lane, 50 ms before blade-off"
    ),
    "blade_speed_m_s": Column("number", "m/s", "mean horizontal speed of the blade in the contact"),
    "stride_length_m": Column(
        "number", "m", "along the lane, blade-on to the next blade-on of the same foot"
    ),
    "stride_width_m": Column("number", "m", "across the lane, this blade-off to the other foot's next"),
    "lateral_travel_m": Column("number", "m", "across the lane, outward, from blade-on to blade-off"),
    "flags": Column("string", "", "words that say why a value is missing or special, joined by ;"),
}
RUNS: Mapping[str, Column] = {
    "run": _RUN,
    "clock": Column("string", "", "sensor whose own clock the times of the run are on"),
    "gate_time_s": Column("number", "s", "time from the first to the last timing gate"),
    "pushes_left": Column("integer", "", "number of pushes of the left foot"),
    "pushes_right": Column("integer", "", "number of pushes of the right foot"),
    "start_foot": Column("string", "", "foot that pushes off last from standing: the first push"),
    "step_rate_hz": Column(
        "number", "Hz", "steps (blade-on to the next blade-on of the other foot) a second"
    ),
    "stride_rate_hz": Column("number", "Hz", "one over the mean stride time of both feet"),
    "mean_speed_m_s": Column(
        "number", "m/s", "distance between the gates by time; without gates along the path"
    ),
    "peak_speed_m_s": Column("number", "m/s", "largest speed of the body along the lane"),
    "usable": Column("boolean", "", "whether the run counts in symmetry"),
    "reason": Column("string", "", "why the run does not count"),
}
SYMMETRY: Mapping[str, Column] = {
    "phase": Column("string", "", "acceleration, later, or all pushes"),
    "metric": Column("string", "", "name of the column in pushes.csv"),
    "unit": Column("string", "", "unit of the metric, of its means and of the difference"),
    "left_mean": Column("number", "", "mean of the left foot over neighbouring pairs of pushes"),
    "right_mean": Column("number", "", "mean of the right foot over neighbouring pairs of pushes"),
    "left_cv_percent": Column("number", "%", f"left foot: {_PERCENT_OF_MEAN}"),
    "right_cv_percent": Column("number", "%", f"right foot: {_PERCENT_OF_MEAN}"),
    "n_left": Column("integer", "", "pushes of the left foot that count"),
    "n_right": Column("integer", "", "pushes of the right foot that count"),
    "n_runs": Column("integer", "", "runs that count"),
    "scope": Column("string", "", "what the interval speaks of: this run, or the athlete on this day"),
    "symmetry_index_percent": Column("number", "%", "100 (right - left) / (0.5 (right + left))"),
    "ci_low_percent": Column("number", "%", "lower end of the 95 % interval of the index"),
    "ci_high_percent": Column("number", "%", "upper end of the 95 % interval of the index"),
    "difference": Column("number", "", "right minus left"),
    "difference_ci_low": Column("number", "", "lower end of the 95 % interval of the difference"),
    "difference_ci_high": Column("number", "", "upper end of the 95 % interval of the difference"),
    "smallest_difference": Column("number", "", "smallest difference that is called one"),
    "smallest_difference_source": Column("string", "", "where the smallest difference comes from"),
    "verdict": Column("string", "", "left larger, right larger, alike, unclear or not measured"),
    "systematic_percent": Column("number", "%", "half width of the systematic part of the index alone"),
    "systematic_difference": Column(
        "number", "", "half width of the systematic part of the difference alone"
    ),
    "random_percent": Column("number", "%", "half width of the random part of the index alone"),
    "random_difference": Column("number", "", "half width of the random part of the difference alone"),
    "runs_needed": Column("integer", "", "runs in all that would turn unclear into an answer"),
    "advice": Column("string", "", "what would: more_runs, better_calibration; or what stands in the way"),
}
KEYS = {
    "pushes": ["run", "side", "push"],
    "runs": ["run"],
    "symmetry": ["phase", "metric"],
}


def data_package(
    session: Session,
    tables: Mapping[str, pd.DataFrame],
    metrics: Mapping[str, Metric],
    files: Mapping[str, tuple[str, int]],
) -> dict[str, Any]:
    """Describe the tables of a results folder.

    Parameters
    ----------
    session : Session
    tables : mapping of str to DataFrame
        ``pushes``, ``runs`` and ``symmetry``.
    metrics : mapping of str to Metric
        Descriptors by column name.
    files : mapping of str to (str, int)
        SHA-256 and size in bytes of each written file, by file name.

    Returns
    -------
    dict
        Plain data for JSON.
    """
    known = {"pushes": PUSHES, "runs": RUNS, "symmetry": SYMMETRY}
    resources = []
    for name, table in tables.items():
        digest, size = files[f"{name}.csv"]
        fields = [_field(column, table, known[name], metrics) for column in map(str, table.columns)]
        schema = {"fields": fields, "missingValues": [""], "primaryKey": KEYS[name]}
        dialect = {"delimiter": ",", "lineTerminator": "\n", "header": True}
        resources.append(
            {
                "name": name,
                "path": f"{name}.csv",
                "profile": "tabular-data-resource",
                "format": "csv",
                "mediatype": "text/csv",
                "encoding": "utf-8",
                "bytes": size,
                "hash": f"sha256:{digest}",
                "dialect": dialect,
                "schema": schema,
            }
        )
    label = re.sub(r"[^a-z0-9]+", "-", f"imustride-{session.athlete}-{session.date}".lower())
    title = f"Pushes of {session.athlete} on {session.date}, {session.protocol}, {session.surface}"
    return {"profile": "tabular-data-package", "name": label, "title": title, "resources": resources}


def _field(
    name: str, table: pd.DataFrame, known: Mapping[str, Column], metrics: Mapping[str, Metric]
) -> dict[str, Any]:
    if name in metrics:
        metric = metrics[name]
        return {
            "name": name,
            "type": "number",
            "unit": metric.unit,
            "description": metric.definition,
            "definition_number": metric.number,
            "source": metric.source,
        }
    if name in known:
        column = known[name]
        field = {"name": name, "type": column.kind, "unit": column.unit, "description": column.description}
        return {key: value for key, value in field.items() if value}
    kinds = {"f": "number", "i": "integer", "u": "integer", "b": "boolean"}
    return {"name": name, "type": kinds.get(table[name].dtype.kind, "string")}
