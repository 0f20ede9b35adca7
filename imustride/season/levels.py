"""From the runs of a season to the level of every session."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.errors import SettingsError

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = ("athlete", "date", "session", "run", "phase", "n", "value")


def check_values(values: pd.DataFrame) -> None:
    """Check a table of one metric: its columns, one phase, every run once.

    Parameters
    ----------
    values : DataFrame
        One row a run: athlete, date, session, run, phase, n (pushes), value (NaN where it could not be had).

    Raises
    ------
    SettingsError
        If a column is missing, there is more than one phase, or a run comes twice.
    """
    missing = [name for name in COLUMNS if name not in values.columns]
    if missing:
        message = (
            f"season values: no column {', '.join(missing)}; wanted {', '.join(COLUMNS)}; add what is missing"
        )
        raise SettingsError(message)
    phases = sorted(map(str, values["phase"].unique()))
    if len(phases) > 1:
        message = f"season values: {len(phases)} phases ({', '.join(phases)}); wanted one; choose a phase"
        raise SettingsError(message)
    twice = values.duplicated(["athlete", "session", "run"])
    if twice.any():
        row = values[twice].iloc[0]
        message = (
            f"season values: athlete {row['athlete']}, session {row['session']}, run {row['run']} comes twice; "
            "wanted one row a run; leave one out"
        )
        raise SettingsError(message)


def session_levels(values: pd.DataFrame) -> pd.DataFrame:
    """Return the mean over the runs of every session, in order of athlete and date.

    Parameters
    ----------
    values : DataFrame
        As `check_values` wants it; runs without a value do not count.

    Returns
    -------
    DataFrame
        athlete, date, session, level [unit of the metric], squares (sum of squared deviations of the runs from
        the level), runs, pushes.
    """
    check_values(values)
    known = values[np.isfinite(values["value"])]
    out: pd.DataFrame = known.groupby(["athlete", "date", "session"], sort=True, as_index=False).agg(
        level=("value", "mean"), squares=("value", "var"), runs=("value", "size"), pushes=("n", "sum")
    )
    out["squares"] = (out["squares"] * (out["runs"] - 1)).fillna(0.0)
    return out


def group_values(values: pd.DataFrame, name: str = "group") -> pd.DataFrame:
    """Make the group one athlete: its sessions are the days, their runs the athletes, each about its own level.

    Parameters
    ----------
    values : DataFrame
        As `check_values` wants it, one metric.
    name : str
        Code of the group.

    Returns
    -------
    DataFrame
        Values as `session_levels` takes them. An athlete who missed a day shifts neither that day nor the others:
        athletes and days are fitted together.

    Raises
    ------
    SettingsError
        If days cannot be told from athletes: some were never measured on a day of the others.

    Notes
    -----
    What a day does to all athletes alike is noise of the group, so that the group is judged by its own days, however
    many athletes there are.
    """
    levels = session_levels(values)
    athlete, day = levels.groupby("athlete").ngroup(), levels.groupby("date").ngroup()
    columns = np.hstack([np.eye(athlete.max() + 1)[athlete], np.eye(day.max() + 1)[day]])
    fitted, _, rank, _ = np.linalg.lstsq(columns, levels["level"].to_numpy(dtype=float), rcond=None)
    if rank < columns.shape[1] - 1:
        message = (
            "season values: some athletes share no day with the others; wanted days in common; give days of one test "
            "week the same date, or judge athletes alone"
        )
        raise SettingsError(message)
    own_level = fitted[athlete] - fitted[: athlete.max() + 1].mean()
    return levels.assign(
        athlete=name,
        session=levels["date"].astype(str),
        run=levels["athlete"].astype(str) + "/" + levels["session"].astype(str),
        phase=values["phase"].iloc[0],
        n=levels["pushes"],
        value=levels["level"] - own_level,
    )[list(COLUMNS)]
