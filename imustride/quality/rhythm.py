"""Whether the rhythm of a run is whole: feet in turn, nothing far outside the run's own trend."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas as pd
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class RhythmSettings:
    """How far from the run's own trend a push may lie, as a ratio (common practice, no source).

    Pushes of one run vary by 3 to 8 %, and the trend takes up the quick first steps: contacts of simulated good
    runs stay within a ratio of 1.45, intervals within 1.6. A skater who nearly falls cuts one contact
    short and catches the fall on a long next one.
    """

    contact_ratio: float = 1.52
    interval_ratio: float = 1.8
    fewest_pushes: int = 6
    quick_start_pushes: float = 2.0
    start_pushes: int = 3  # whose intervals are of no rhythm yet: one skater jumps off, another rolls off


def rhythm_faults(pushes: pd.DataFrame, settings: RhythmSettings) -> Iterator[str]:
    """Yield a sentence where the rhythm breaks, the feet in turn or else the largest break only.

    Parameters
    ----------
    pushes : DataFrame
        The run's rows of ``pushes.csv``.
    settings : RhythmSettings
    """
    counted = pushes[(pushes["push"] > 0) & pushes["blade_off_s"].notna()]
    joined = counted["side"].nunique() == 2 and not counted["flags"].str.contains("clocks_not_").any()
    parts = [counted] if joined else [own for _, own in counted.groupby("side")]
    for rows in parts:
        if joined:
            again = np.flatnonzero(rows["side"].to_numpy()[1:] == rows["side"].to_numpy()[:-1])
            if len(again):
                row = rows.iloc[again[0] + 1]
                yield (
                    f"two pushes in a row by the {row['side']} foot at {row['blade_off_s']:.2f} s: "
                    "a push was not found, or the skater stumbled"
                )
                continue
        broken = largest_break(rows, settings)
        if broken is not None:
            yield broken


def largest_break(rows: pd.DataFrame, settings: RhythmSettings) -> str | None:
    """Return a sentence on the push farthest from the trend, beyond the limits."""
    if len(rows) < settings.fewest_pushes:
        return None
    interval_s = np.concatenate(([np.nan], np.diff(rows["blade_off_s"].to_numpy(dtype=float))))
    interval_s[: settings.start_pushes] = np.nan
    values = {
        "contact": rows["contact_time_s"].to_numpy(dtype=float),
        "interval to the push before": interval_s,
    }
    limits = (settings.contact_ratio, settings.interval_ratio)
    found = []
    for (what, value), limit in zip(values.items(), limits, strict=True):
        ratio = off_trend(value, (rows["side"] == "right").to_numpy(), settings)
        excess = np.abs(np.log(ratio)) / np.log(limit)
        if np.isfinite(excess).any():
            at = int(np.nanargmax(excess))
            row = rows.iloc[at]
            sentence = (
                f"the rhythm breaks at push {row['push']} {row['side']} ({row['blade_off_s']:.2f} s): {what} "
                f"{value[at]:.2f} s, {value[at] / ratio[at]:.2f} s by the run's own trend (a stumble?)"
            )
            found.append((float(excess[at]), sentence))
    worst = max(found, default=(0.0, ""))
    return worst[1] if worst[0] > 1.0 else None


def off_trend(
    value: NDArray[np.float64], right: NDArray[np.bool_], settings: RhythmSettings
) -> NDArray[np.float64]:
    """Return each value over the run's own trend, shape (n,); NaN where there is no value or too few.

    Parameters
    ----------
    value : ndarray, shape (n,)
        In order of the pushes, positive; NaN where missing.
    right : ndarray of bool, shape (n,)

    Notes
    -----
    The trend in the logarithm: level, slope, quick first steps, left against right where there are both; least absolute
    deviations, so that the break itself does not bend it.
    """
    known = np.isfinite(value) & (value > 0)
    out = np.full(len(value), np.nan)
    place = np.arange(len(value))
    columns = [np.ones(len(value)), place / len(value)]
    if right[known].any() and not right[known].all():
        columns += [np.exp(-place / settings.quick_start_pushes), right.astype(float)]
    if known.sum() < max(settings.fewest_pushes - 1, len(columns) + 1):
        return out
    design, target = np.stack(columns, axis=1)[known], np.log(value[known])
    weight = np.ones(len(target))
    for _ in range(30):
        root = np.sqrt(weight)
        fitted = np.linalg.lstsq(design * root[:, None], target * root, rcond=None)[0]
        left_over = target - design @ fitted
        weight = 1.0 / np.maximum(np.abs(left_over), 0.02)
    out[known] = np.exp(left_over)
    return out
