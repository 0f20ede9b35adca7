"""Left against right: the rows of ``symmetry.csv``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from imustride.metrics.indices import symmetry_index
from imustride.metrics.symmetry_interval import random_error
from imustride.metrics.symmetry_pairs import detrended_sd, paired_run, pooled_means
from imustride.metrics.symmetry_verdict import (
    JOIN_CLOCKS,
    MORE_RUNS,
    NO_PAIRS,
    NORMAL_95,
    NOT_MEASURED,
    UNCLEAR,
    SmallestDifference,
    advice,
    default_smallest,
    verdict,
)

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from imustride.metrics.symmetry_interval import RandomError
    from imustride.metrics.symmetry_pairs import PairedRun

__all__ = ["COLUMNS", "PHASES", "MetricSymmetry", "SmallestDifference", "Systematic", "symmetry_table"]

PHASES = ("acceleration", "later", "all")
COLUMNS = (
    "phase", "metric", "unit", "left_mean", "right_mean", "left_cv_percent", "right_cv_percent", "n_left", "n_right",
    "n_runs", "scope", "symmetry_index_percent", "ci_low_percent", "ci_high_percent", "difference",
    "difference_ci_low", "difference_ci_high", "smallest_difference", "smallest_difference_source", "verdict",
    "systematic_percent", "systematic_difference", "random_percent", "random_difference", "runs_needed", "advice",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class MetricSymmetry:
    """How a metric is compared.

    Parameters
    ----------
    kind : "index", "difference" or "none"
        By the symmetry index (always positive metrics), by the difference, or not at all.
    unit : str
    smallest_difference : float or None
        The metric's own smallest difference, percent (index) or unit; None: the convention.
    """

    kind: Literal["index", "difference", "none"]
    unit: str
    smallest_difference: float | None = None


@dataclass(frozen=True, slots=True)
class Systematic:
    """Standard deviation of what stays the same over all runs of a day (calibration, alignment, lane).

    Parameters
    ----------
    index_sd_percent : float or None
        Of the symmetry index [points].
    difference_sd : float or None
        Of right - left [unit of the metric]. Where only one of the two is given the other follows through
        the mean of both feet.
    """

    index_sd_percent: float | None = None
    difference_sd: float | None = None


@dataclass(frozen=True, eq=False, slots=True)
class _OrderedRun:
    """Pushes of one run in order of blade-off; `joined` is False where the feet's order is unknown."""

    table: pd.DataFrame
    right: NDArray[np.bool_]
    phase: NDArray[Any]
    joined: bool


def symmetry_table(
    pushes: pd.DataFrame,
    usable_runs: Collection[str],
    metrics: Mapping[str, MetricSymmetry],
    systematic: Mapping[str, Systematic],
    smallest: Mapping[str | tuple[str, str], SmallestDifference] | None = None,
) -> pd.DataFrame:
    """Compare left and right for every metric and phase.

    Parameters
    ----------
    pushes : DataFrame
        The columns of ``pushes.csv``. Rows with push 0 (the foot that lifts first) stay out.
    usable_runs : collection of str
        Runs that count.
    metrics : mapping
        How each column of `pushes` is compared; a column that `pushes` lacks is `not measured`.
    systematic : mapping
        Systematic part by metric; a metric without an entry has none stated: its columns are empty.
    smallest : mapping, optional
        Smallest differences the season knows of this athlete, by metric, or by phase and metric where they differ.

    Returns
    -------
    DataFrame
        `COLUMNS`: those of the contract, then half widths (95 %) of the systematic and the random part alone,
        how many runs in all would tell, and advice: `more_runs`, `better_calibration`,
        `near_smallest_difference`, `join_clocks`, `no_pairs`, or empty.

    Notes
    -----
    Pairs of feet need a common clock. A run with the flag `clocks_not_synchronised` forms none; where no run
    forms any, each foot's own mean, spread and number stand, and the comparison is `not measured`: which foot
    was first is unknown, and half a stride of a trend would pass for a difference.

    Examples
    --------
    >>> import pandas as pd
    >>> pushes = pd.DataFrame({
    ...     "run": "run-1", "side": ["left", "right"] * 2, "push": [1, 1, 2, 2], "phase": "later",
    ...     "blade_off_s": [1.0, 1.4, 1.8, 2.2], "contact_time_s": [0.30, 0.33, 0.30, 0.33], "flags": ""})
    >>> metrics = {"contact_time_s": MetricSymmetry("index", "s")}
    >>> table = symmetry_table(pushes, {"run-1"}, metrics, {})
    >>> table.set_index("phase").symmetry_index_percent.round(3)["later"].item()
    9.524
    """
    import pandas as pd

    runs = [_ordered(table) for name, table in pushes.groupby("run", sort=False) if name in usable_runs]
    known = smallest or {}
    rows = [
        _row(
            runs,
            phase,
            metric,
            how,
            systematic.get(metric, Systematic()),
            known.get((phase, metric), known.get(metric)),
        )
        for phase in PHASES
        for metric, how in metrics.items()
        if how.kind != "none"
    ]
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return table.astype({"n_left": int, "n_right": int, "n_runs": int, "runs_needed": "Int64"})


def _ordered(table: pd.DataFrame) -> _OrderedRun:
    """Order the pushes of one run by blade-off, without the foot that lifts first."""
    kept = table[table["push"] > 0].sort_values("blade_off_s", kind="stable", na_position="last")
    flags = kept["flags"].fillna("").astype(str).str.split(";")
    joined = not any("clocks_not_synchronised" in words for words in flags)
    return _OrderedRun(kept, (kept["side"] == "right").to_numpy(), kept["phase"].to_numpy(), joined)


def _selected(
    runs: Sequence[_OrderedRun], phase: str, metric: str
) -> Iterator[tuple[_OrderedRun, NDArray[np.bool_], NDArray[np.float64]]]:
    """Yield the runs with the foot and the value of each of their pushes in the phase."""
    for run in runs:
        inside = np.ones(len(run.right), dtype=bool) if phase == "all" else run.phase == phase
        if metric in run.table:
            yield run, run.right[inside], run.table[metric].to_numpy(dtype=float, na_value=np.nan)[inside]


def _row(
    runs: Sequence[_OrderedRun],
    phase: str,
    metric: str,
    how: MetricSymmetry,
    systematic: Systematic,
    smallest: SmallestDifference | None,
) -> dict[str, Any]:
    """Fill one row."""
    if smallest is None and how.smallest_difference is not None:
        smallest = SmallestDifference(how.smallest_difference, "set for this metric")
    smallest = smallest or default_smallest(by_index=how.kind == "index", unit=how.unit)
    row: dict[str, Any] = {
        "phase": phase,
        "metric": metric,
        "unit": how.unit,
        "smallest_difference": smallest.value,
        "smallest_difference_source": smallest.source,
    }
    selected = list(_selected(runs, phase, metric))
    paired = [
        pairs
        for run, right, value in selected
        if run.joined and (pairs := paired_run(right, value)) is not None
    ]
    if not paired:
        return row | _per_foot(selected)
    left, right = pooled_means(paired)
    feet = {
        "left": [np.stack([run.position, run.value])[:, ~run.right] for run in paired],
        "right": [np.stack([run.position, run.value])[:, run.right] for run in paired],
    }
    row |= _foot_columns("left", left, feet["left"]) | _foot_columns("right", right, feet["right"])
    row |= {"n_runs": len(paired), "scope": "run" if len(paired) == 1 else "day"}
    return row | _comparison(paired, left, right, how, systematic, smallest.value)


def _foot_columns(side: str, mean: float, runs: Sequence[NDArray[np.float64]]) -> dict[str, Any]:
    """Mean, spread and number of one foot; `runs` hold positions and values, shape (2, m)."""
    spread = 100.0 * detrended_sd(runs) / abs(mean) if mean else float("nan")
    number = sum(run.shape[1] for run in runs)
    return {f"{side}_mean": mean, f"{side}_cv_percent": spread, f"n_{side}": number}


def _per_foot(
    selected: Sequence[tuple[_OrderedRun, NDArray[np.bool_], NDArray[np.float64]]],
) -> dict[str, Any]:
    """Columns of a row without pairs: each foot by itself, no comparison."""
    row: dict[str, Any] = {}
    used = set()
    for side in ("left", "right"):
        feet = []
        for number, (_, right, value) in enumerate(selected):
            own = value[right == (side == "right")]
            measured = np.isfinite(own)
            if measured.any():
                feet.append(np.stack([np.flatnonzero(measured), own[measured]]))
                used.add(number)
        mean = float(np.mean(np.concatenate(feet, axis=1)[1])) if feet else float("nan")
        row |= _foot_columns(side, mean, feet)
    split = any(not selected[number][0].joined for number in used)
    return row | {
        "n_runs": len(used),
        "scope": "",
        "verdict": NOT_MEASURED,
        "advice": JOIN_CLOCKS if split else NO_PAIRS,
    }


def _comparison(
    paired: Sequence[PairedRun],
    left: float,
    right: float,
    how: MetricSymmetry,
    systematic: Systematic,
    smallest: float,
) -> dict[str, Any]:
    """Columns of the comparison: index, difference, intervals, verdict, advice."""
    difference = right - left
    index = symmetry_index(left, right) if how.kind == "index" else float("nan")
    points = 100.0 / (0.5 * (left + right)) if np.isfinite(index) else float("nan")  # index points a unit
    index_sd, difference_sd = _systematic_sds(systematic, points)
    error = random_error(paired)
    index_half = points * _half_width(error, index_sd / points)
    difference_half = _half_width(error, difference_sd)
    random = _half_width(error, 0.0)
    row: dict[str, Any] = {
        "symmetry_index_percent": index,
        "ci_low_percent": index - index_half,
        "ci_high_percent": index + index_half,
        "difference": difference,
        "difference_ci_low": difference - difference_half,
        "difference_ci_high": difference + difference_half,
        "systematic_percent": NORMAL_95 * index_sd,
        "systematic_difference": NORMAL_95 * difference_sd,
        "random_percent": points * random,
        "random_difference": random,
    }
    if how.kind == "index":
        return row | _judgement(index, index_half, smallest, error, points, index_sd, len(paired))
    return row | _judgement(difference, difference_half, smallest, error, 1.0, difference_sd, len(paired))


def _judgement(
    estimate: float,
    half_width: float,
    smallest: float,
    error: RandomError | None,
    points: float,
    systematic_sd: float,
    runs: int,
) -> dict[str, Any]:
    """Verdict and, where it is unclear, advice; `points` converts the unit of `error` to that of the rest."""
    if not np.isfinite(estimate):
        return {"verdict": NOT_MEASURED, "advice": ""}
    word = verdict(estimate, half_width, smallest)
    if word != UNCLEAR:
        return {"verdict": word, "advice": ""}
    if error is None:
        return {"verdict": word, "advice": MORE_RUNS}
    told, needed = advice(
        estimate / points, error, np.nan_to_num(systematic_sd) / points, smallest / points, runs
    )
    return {"verdict": word, "advice": told, "runs_needed": needed}


def _half_width(error: RandomError | None, systematic_sd: float) -> float:
    """Half width of the interval; a systematic part that was not stated adds nothing."""
    return error.half_width(float(np.nan_to_num(systematic_sd))) if error else float("nan")


def _systematic_sds(systematic: Systematic, points: float) -> tuple[float, float]:
    """Systematic SD of the index [points] and of the difference [unit]; NaN where not stated."""
    index, difference = systematic.index_sd_percent, systematic.difference_sd
    if index is None:
        index = float("nan") if difference is None else difference * points
    if difference is None:
        difference = index / points
    return index, difference
