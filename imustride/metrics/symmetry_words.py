"""One plain sentence for a row of ``symmetry.csv``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.metrics.symmetry_verdict import (
    ALIKE,
    BETTER_CALIBRATION,
    CONVENTION,
    JOIN_CLOCKS,
    MORE_RUNS,
    MOST_RUNS,
    NEAR_SMALLEST,
    NOT_MEASURED,
    UNCLEAR,
)

if TYPE_CHECKING:
    from collections.abc import Mapping


def describe(row: Mapping[str, Any], label: str, larger: str = "larger") -> str:
    """Say in one sentence what a row of the symmetry table tells.

    Parameters
    ----------
    row : mapping
        A row of the table of `symmetry.symmetry_table`, such as a Series.
    label : str
        The metric in words, "Contact time".
    larger : str
        The word for more of it: "longer", "faster".

    Returns
    -------
    str
        With estimate, interval, numbers of runs and pushes, and where it is unclear what would tell.

    Examples
    --------
    >>> describe({"verdict": "not measured", "advice": "join_clocks"}, "Contact time")
    'Contact time: not measured; the clocks of the two sensors could not be joined.'
    """
    if row["verdict"] == NOT_MEASURED:
        why = (
            "the clocks of the two sensors could not be joined"
            if row["advice"] == JOIN_CLOCKS
            else "too few neighbouring pushes of both feet with a value"
        )
        return f"{label}: not measured; {why}."
    by_index = bool(np.isfinite(row["symmetry_index_percent"]))
    unit = "%" if by_index else str(row["unit"])
    names = (
        ("symmetry_index_percent", "ci_low_percent", "ci_high_percent")
        if by_index
        else ("difference", "difference_ci_low", "difference_ci_high")
    )
    estimate, low, high = (float(row[name]) for name in names)
    digits = _digits(estimate, float(row["smallest_difference"]))
    side = "right" if estimate > 0.0 else "left"
    size = f"{abs(estimate):.{digits}f}"
    told = "no difference" if float(size) == 0.0 else f"{side} {larger} by {size} {unit}"
    interval = (
        f"95 % interval {low:.{digits}f} to {high:.{digits}f} {unit}, positive is right"
        if np.isfinite(high)
        else "too few pushes for an interval"
    )
    sample = f"{_runs(row)}, {row['n_left']} left and {row['n_right']} right pushes"
    sentence = f"{label}: {told} ({interval}; {sample})"
    if row["verdict"] == ALIKE:
        return f"{sentence}; alike: {_within(row, unit)}."
    if row["verdict"] == UNCLEAR:
        return f"{sentence}; unclear: {_remedy(row, unit, by_index=by_index)}."
    return f"{sentence}; {row['verdict']}."


def _digits(*values: float) -> int:
    """Decimals that show a tenth of the smallest difference."""
    finite = [abs(value) for value in values[1:] if np.isfinite(value) and value] or [abs(values[0]) or 1.0]
    return int(np.clip(1 - np.floor(np.log10(finite[0])), 1, 6))


def _runs(row: Mapping[str, Any]) -> str:
    return "1 run, for that run only" if row["n_runs"] == 1 else f"{row['n_runs']} runs"


def _within(row: Mapping[str, Any], unit: str) -> str:
    """Words for the smallest difference and where it comes from."""
    source = (
        "a convention, no source"
        if row["smallest_difference_source"] == CONVENTION
        else row["smallest_difference_source"]
    )
    return f"within {row['smallest_difference']:g} {unit} ({source})"


def _remedy(row: Mapping[str, Any], unit: str, *, by_index: bool) -> str:
    """Words for the advice of an unclear row."""
    import pandas as pd

    if row["advice"] == BETTER_CALIBRATION:
        part = float(row["systematic_percent" if by_index else "systematic_difference"])
        return f"more runs cannot tell, only a better calibration (its part alone is +-{part:.2g} {unit})"
    if row["advice"] == NEAR_SMALLEST:
        return f"too near to the smallest difference of {row['smallest_difference']:g} {unit} to tell"
    needed = row["runs_needed"]
    if row["advice"] == MORE_RUNS and not pd.isna(needed):
        more = int(needed) - int(row["n_runs"])
        return f"about {more} more {'run' if more == 1 else 'runs'} of this kind would tell"
    if np.isfinite(float(row["random_difference"])):
        return f"even {MOST_RUNS} runs of this kind would hardly tell"
    return "more runs are needed"
