"""The rows of ``runs.csv``: one run in a line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.constants import SIDES
from imustride.metrics.circular import mean_direction_deg
from imustride.metrics.run_speeds import gate_columns, profile_columns, share_columns, speed_columns

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from imustride.kinematics import BodyPath, Gates


def run_table(rows: Sequence[dict[str, Any]]) -> pd.DataFrame:
    """Return the rows as ``runs.csv`` holds them: as many columns of gates as the run with the most of them needs."""
    import pandas as pd

    most = max(len(row) for row in rows)
    return pd.DataFrame(rows, columns=next(list(row) for row in rows if len(row) == most))


def run_row(
    name: str,
    clock: str,
    pushes: pd.DataFrame,
    gates: Gates | None,
    *,
    usable: bool,
    reason: str,
    body: BodyPath | None = None,
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
    body : BodyPath, optional
    """
    counted = pushes[pushes["push"] > 0]
    return {
        "run": name,
        "clock": clock,
        "gate_time_s": np.nan if gates is None else float(np.ptp(gates.time_s)),
        "pushes_left": int((counted["side"] == "left").sum()),
        "pushes_right": int((counted["side"] == "right").sum()),
        "start_foot": start_foot(pushes),
        "step_rate_hz": 1 / counted["step_time_s"].mean(),
        "stride_rate_hz": 1 / counted["stride_time_s"].mean(),
        **speed_columns(pushes, gates, body),
        **profile_columns(pushes, gates, body),
        **share_columns(pushes, body),
        **arm_columns(counted),
        **gate_columns(gates, body),
        "usable": usable,
        "reason": reason,
    }


def start_foot(pushes: pd.DataFrame) -> str:
    """Return the foot that pushes off last from standing; empty where that cannot be told."""
    standing = pushes[pushes["flags"].str.contains("standing_start", regex=False)]
    told = standing["flags"].str.contains("first_lift", regex=False).any()
    return str(standing.loc[standing["push"] > 0, "side"].iloc[0]) if told and len(standing) == 2 else ""


def arm_columns(pushes: pd.DataFrame) -> dict[str, float]:
    """Return the mean phase of the arm opposite each pushing leg and how alike the phases are; NaN without."""
    row = {}
    for side in SIDES:
        phases = pushes.loc[pushes["side"] == side, "arm_push_phase_deg"].to_numpy(float)
        row[f"arm_push_phase_{side}_deg"], row[f"arm_push_phase_{side}_alike_ratio"] = mean_direction_deg(
            phases
        )
    return row
