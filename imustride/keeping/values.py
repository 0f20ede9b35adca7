"""What is followed over a season, one row a run: read from the store, right against left by neighbouring pushes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.indices import symmetry_index
from imustride.metrics.symmetry_pairs import paired_run

if TYPE_CHECKING:
    import pandas as pd

    from imustride.season.family import Followed
    from imustride.season.reading import Chosen
    from imustride.season.store import Store

KEYS = ["athlete", "date", "session", "run"]
CLOCKS = "clocks_not_synchronised"


def run_values(store: Store, followed: Followed, chosen: Chosen) -> pd.DataFrame:
    """Return what is followed, one row a usable run.

    Parameters
    ----------
    store : Store
    followed : Followed
    chosen : Chosen

    Returns
    -------
    DataFrame
        athlete, date, session, run, phase, n (pushes), value (NaN where it could not be had) [unit of `followed`].
        `date` is a day; `session` holds it too, since names of folders come back.

    Notes
    -----
    Right against left is the symmetry index, or the difference, of the paired means of a run, in which a trend along
    the run cancels, as in ``symmetry.csv``.
    """
    import pandas as pd

    read = {"pushes": _of_pushes, "asymmetry": _of_feet, "runs": _of_runs}[followed.kind]
    table = read(store, followed, chosen)
    table = table[table["usable"]].reset_index(drop=True)
    return pd.DataFrame(
        {
            "athlete": table["athlete"],
            "date": pd.to_datetime(table["date"], format="%Y-%m-%d"),
            "session": table["date"] + "/" + table["session"],
            "run": table["run"],
            "phase": followed.phase,
            "n": table["n"],
            "value": table["value"].astype(float),
        }
    )


def _of_pushes(store: Store, followed: Followed, chosen: Chosen) -> pd.DataFrame:
    from imustride.season.reading import read_run_means

    phase = None if followed.phase == "all" else followed.phase
    return read_run_means(store, followed.metric, phase, chosen)


def _of_runs(store: Store, followed: Followed, chosen: Chosen) -> pd.DataFrame:
    import pandas as pd

    from imustride.season.reading import read_runs

    table = read_runs(store, chosen)
    number = table.reindex(columns=["pushes_left", "pushes_right"]).fillna(0).sum(axis=1).astype(int)
    return table.assign(n=number, value=pd.to_numeric(table.get(followed.metric, np.nan)))


def _of_feet(store: Store, followed: Followed, chosen: Chosen) -> pd.DataFrame:
    import pandas as pd

    from imustride.season.reading import read_pushes

    pushes = read_pushes(store, chosen, ["blade_off_s", followed.metric])
    pushes = pushes[pushes["push"] > 0].sort_values("blade_off_s", kind="stable", na_position="last")
    rows = [
        {**dict(zip(KEYS, key, strict=True)), "usable": run["usable"].iloc[0], **_compared(run, followed)}
        for key, run in pushes.groupby(KEYS, sort=True)
    ]
    return pd.DataFrame(rows, columns=[*KEYS, "usable", "n", "value"]).astype({"usable": bool})


def _compared(run: pd.DataFrame, followed: Followed) -> dict[str, float]:
    if run["flags"].str.split(";").map(lambda words: CLOCKS in words).any():
        return {"n": 0, "value": float("nan")}
    inside = run if followed.phase == "all" else run[run["phase"] == followed.phase]
    value = inside[followed.metric].to_numpy(dtype=float)
    pairs = paired_run((inside["side"] == "right").to_numpy(), value)
    if pairs is None:
        return {"n": 0, "value": float("nan")}
    left, right = pairs.left_mean, pairs.right_mean
    against = symmetry_index(left, right) if followed.by_index else right - left
    return {"n": len(pairs.value), "value": against}
