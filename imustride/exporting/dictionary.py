"""The data dictionary ``datapackage.json``: what every column of every table means.

The layout follows the open Data Package description (a list of resources, each with the fields of
its table); `unit`, `definition_number` and `source` are added to the fields of metrics.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
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
_PROFILE = (
    "v = v_max (1 - exp(-t / tau)), fitted to the smoothed speed of the body up to the last blade-off, without a path "
    "to the times at four gates or more with a start time of its own (Perez et al. 2022, doi "
    "10.1080/14763141.2019.1648541)"
)
_CAUTION = (
    "From gates: a fitted start time halves the error of such profiles (Stenroth et al. 2020, doi "
    "10.1080/14763141.2020.1770321), but against radar it made speed too large and force and power too small (Perez et "
    "al. 2021, doi 10.3389/fbioe.2021.661744); never compare a profile from gates with one from speed"
)
_GAIN = "the speed gained, as parts of its logarithm (ours: no source in skating); both shares add to one"

_COURSE = "mean at the same share of the time on the ice, as in pushes.csv, after the first six pushes of the run if any"

# What no metric describes.
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
    "push_start_by": Column(
        "string",
        "",
        "what glide_before_extension_s ends with: knee (leg extension), edge (edge change), or empty",
    ),
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
    "peak_speed_m_s": Column(
        "number", "m/s", "largest speed of the body along the lane, up to the last blade-off"
    ),
    "peak_speed_m_s_sd": Column("number", "m/s", "standard deviation of peak_speed_m_s"),
    "mean_speed_m_s_sd": Column(
        "number",
        "m/s",
        "standard deviation of mean_speed_m_s; between gates from 20 ms a gate (Earp and Newton 2012)",
    ),
    "distance_m": Column(
        "number",
        "m",
        "way of the body along the lane from the stance to the last gate, else to the last blade-off",
    ),
    "distance_m_sd": Column("number", "m", "standard deviation of distance_m"),
    "profile_v_max_m_s": Column("number", "m/s", f"maximal speed of {_PROFILE}"),
    "profile_v_max_m_s_sd": Column("number", "m/s", "standard deviation of profile_v_max_m_s"),
    "profile_tau_s": Column("number", "s", f"time constant of {_PROFILE}"),
    "profile_tau_s_sd": Column("number", "s", "standard deviation of profile_tau_s"),
    "profile_from": Column("string", "", f"what the profile was fitted to: speed or gates. {_CAUTION}"),
    "profile_reason": Column("string", "", "why there is no profile"),
    "speed_gain_ratio": Column(
        "number", "", "speed of the last two steps of each foot over that of the first two"
    ),
    "speed_gain_length_share_ratio": Column("number", "", f"share of the length of the steps in {_GAIN}"),
    "speed_gain_rate_share_ratio": Column("number", "", f"share of the rate of the steps in {_GAIN}"),
    "speed_gain_share_ratio_sd": Column("number", "", "standard deviation of either share"),
    "speed_gain_reason": Column("string", "", "why the shares are not told"),
    "arm_push_phase_left_deg": Column(
        "number", "deg", "mean direction of arm_push_phase_deg of the left pushes (circular)"
    ),
    "arm_push_phase_left_alike_ratio": Column(
        "number", "", "mean resultant length of the same: 1 where all pushes have one phase, 0 where any"
    ),
    "arm_push_phase_right_deg": Column(
        "number", "deg", "mean direction of arm_push_phase_deg of the right pushes (circular)"
    ),
    "arm_push_phase_right_alike_ratio": Column(
        "number", "", "mean resultant length of the same: 1 where all pushes have one phase, 0 where any"
    ),
    "usable": Column("boolean", "", "whether the run counts in symmetry"),
    "reason": Column("string", "", "why the run does not count"),
}
# Columns of which there are as many as a run has gates; {gate} and {next} are put in.
OF_GATES: Mapping[str, Column] = {
    r"split_(\d+)_s": Column(
        "number", "s", "time from gate {gate} to gate {next}, on the clock of the timing system"
    ),
    r"gate_(\d+)_speed_m_s": Column(
        "number", "m/s", "speed of the body along the lane as it passes gate {gate}, its steps averaged out"
    ),
    r"gate_(\d+)_speed_m_s_sd": Column("number", "m/s", "standard deviation of gate_{gate}_speed_m_s"),
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
SEGMENTS: Mapping[str, Column] = {
    "run": _RUN,
    "place": Column("string", "", "where on the body the sensor was worn"),
    "clock_sd_s": Column("number", "s", "standard deviation of its times on the run's clock"),
    "upright": Column("boolean", "", "whether standing straight showed the segment's long axis"),
    "forward_sd_deg": Column(
        "number", "deg", "standard deviation of the segment's forward axis; empty where nothing showed it"
    ),
    "movements": Column("integer", "", "movements that showed the forward axis"),
    "heading_sd_deg": Column("number", "deg", "standard deviation of the segment's heading against the lane"),
    "problem": Column(
        "string", "", "what speaks against the sensor or its fitting; what rests on it is empty"
    ),
}
# What is drawn in a picture: its table is written as figure-<picture>.csv where pictures are wanted.
FIGURES: Mapping[str, Column] = {
    "run": _RUN,
    "side": PUSHES["side"],
    "push": PUSHES["push"],
    "phase": PUSHES["phase"],
    "lands_s": Column("number", "s", "the blade meets the ice, from the first lift of the run"),
    "begins_to_push_s": Column("number", "s", "the blade changes onto its inside edge, from the first lift"),
    "leaves_s": Column("number", "s", "the blade leaves the ice, from the first lift of the run"),
    "at": Column(
        "string", "", "blade-off (L or R and the number of the push) or timing gate (G and its number)"
    ),
    "place_m": Column("number", "m", "along the lane, from the stance"),
    "place_m_sd": Column("number", "m", "standard deviation of place_m"),
    "across_m": Column("number", "m", "across the lane, positive to the left"),
    "across_m_sd": Column("number", "m", "standard deviation of across_m"),
    "speed_m_s": Column(
        "number", "m/s", "of the body along the lane; in figure-pace over two steps of the feet"
    ),
    "speed_m_s_sd": Column("number", "m/s", "standard deviation of speed_m_s"),
    "section_speed_m_s": Column("number", "m/s", "from the gate before, by the timing system alone"),
    "pushes_per_second_hz": Column("number", "Hz", "two over the stride time"),
    "length_per_push_m": Column("number", "m", "half of the stride length"),
    "length_per_push_m_sd": Column("number", "m", "standard deviation of length_per_push_m"),
    "contact_percent": Column("integer", "%", "share of the time on the ice: 0 blade-on, 100 blade-off"),
    "knee_flexion_deg": Column("number", "deg", f"of the foot's pushes, {_COURSE}: knee flexion"),
    "knee_flexion_deg_sd": Column(
        "number", "deg", "standard deviation of knee_flexion_deg from push to push"
    ),
    "shank_inclination_deg": Column(
        "number", "deg", f"of the foot's pushes, {_COURSE}: forward tip of the shank"
    ),
    "shank_inclination_deg_sd": Column(
        "number", "deg", "standard deviation of shank_inclination_deg from push to push"
    ),
    "n_pushes": Column("integer", "", "pushes of the foot in the mean"),
    "metric": Column("string", "", "name of the column in pushes.csv"),
    "difference_multiple": Column("number", "", "right minus left, in smallest differences that count"),
    "low_multiple": Column("number", "", "lower end of the 95 % interval of difference_multiple"),
    "high_multiple": Column("number", "", "upper end of the 95 % interval of difference_multiple"),
    "verdict": SYMMETRY["verdict"],
    "n_left": SYMMETRY["n_left"],
    "n_right": SYMMETRY["n_right"],
    "n_runs": SYMMETRY["n_runs"],
}
KEYS = {
    "pushes": ["run", "side", "push"],
    "runs": ["run"],
    "symmetry": ["phase", "metric"],
    "segments": ["run", "place"],
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
        ``pushes``, ``runs``, ``symmetry`` and ``segments``; others are those of pictures.
    metrics : mapping of str to Metric
        Descriptors by column name.
    files : mapping of str to (str, int)
        SHA-256 and size in bytes of each written file, by file name.

    Returns
    -------
    dict
        Plain data for JSON.
    """
    known = {"pushes": PUSHES, "runs": RUNS, "symmetry": SYMMETRY, "segments": SEGMENTS}
    resources = []
    for name, table in tables.items():
        digest, size = files[f"{name}.csv"]
        columns = known.get(name, FIGURES)
        fields = [field(column, table, columns, metrics) for column in map(str, table.columns)]
        schema = {"fields": fields, "missingValues": [""]} | (
            {"primaryKey": KEYS[name]} if name in KEYS else {}
        )
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


def field(
    name: str, table: pd.DataFrame, known: Mapping[str, Column], metrics: Mapping[str, Metric]
) -> dict[str, Any]:
    """Describe a column of a table: by its metric, by what is known of it, else by its kind alone."""
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
    column = known.get(name) or _of_gate(name)
    if column is not None:
        told = {"name": name, "type": column.kind, "unit": column.unit, "description": column.description}
        return {key: value for key, value in told.items() if value}
    kinds = {"f": "number", "i": "integer", "u": "integer", "b": "boolean"}
    return {"name": name, "type": kinds.get(table[name].dtype.kind, "string")}


def _of_gate(name: str) -> Column | None:
    for pattern, column in OF_GATES.items():
        found = re.fullmatch(pattern, name)
        if found:
            gate = int(found[1])
            return replace(column, description=column.description.format(gate=gate, next=gate + 1))
    return None
