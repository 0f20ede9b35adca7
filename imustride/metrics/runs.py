"""The rows of ``runs.csv``: one run in a line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

    from imustride.kinematics import Gates


def run_row(
    name: str, clock: str, pushes: pd.DataFrame, gates: Gates | None, *, usable: bool, reason: str
) -> dict[str, Any]:
    """Return one row of ``runs.csv``.

    Parameters
    ----------
    name : str
    clock : str
        Place whose clock counts; empty where nothing was analysed.
    pushes : DataFrame
        The run's rows of ``pushes.csv``.
    gates : Gates or None
    usable : bool
    reason : str
        Why it is not usable.
    """
    counted = pushes[pushes["push"] > 0]
    gate_m, gate_s = (
        (np.nan, np.nan) if gates is None else (float(np.ptp(gates.position_m)), float(np.ptp(gates.time_s)))
    )
    return {
        "run": name,
        "clock": clock,
        "gate_time_s": gate_s,
        "pushes_left": int((counted["side"] == "left").sum()),
        "pushes_right": int((counted["side"] == "right").sum()),
        "start_foot": start_foot(pushes),
        "step_rate_hz": 1 / counted["step_time_s"].mean(),
        "stride_rate_hz": 1 / counted["stride_time_s"].mean(),
        "mean_speed_m_s": gate_m / gate_s,
        "peak_speed_m_s": np.nan,
        "usable": usable,
        "reason": reason,
    }


def start_foot(pushes: pd.DataFrame) -> str:
    """Return the foot that pushes off last from standing; empty where that cannot be told."""
    standing = pushes[pushes["flags"].str.contains("standing_start", regex=False)]
    told = standing["flags"].str.contains("first_lift", regex=False).any()
    return str(standing.loc[standing["push"] > 0, "side"].iloc[0]) if told and len(standing) == 2 else ""
