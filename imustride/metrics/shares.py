"""How much of the speed gained over a run came from longer steps and how much from quicker ones."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

STEPS_OF_A_FOOT = 2  # at either end of the run
FEET = ("left", "right")
FEWEST_CHANGES = 4  # of changes of the trend of a foot, to see how single steps scatter
CLEAR = 2.0  # standard errors that the gain must be worth
SHARPEST_SD = 0.25  # of a share: beyond, half and nothing are the same
FEW = "too few steps of both feet with a length and a time at the beginning and at the end"
NO_GAIN = "the steps at the end are not clearly faster than those at the beginning"
UNSURE = "the steps scatter too much for the share of length and of rate to be told"


@dataclass(frozen=True, slots=True)
class SpeedShares:
    """What the gain in speed came from; empty (NaN) where it cannot be told, with the reason.

    Gains are ratios, late over early: `speed` = `length` x `rate`. The shares add to one; one of them is
    negative where that part fell while the other rose. Both shares have the same standard error.
    """

    speed_gain_ratio: float = np.nan
    length_gain_ratio: float = np.nan
    rate_gain_ratio: float = np.nan
    length_share_ratio: float = np.nan
    rate_share_ratio: float = np.nan
    share_sd_ratio: float = np.nan
    early_pushes: int = 0
    late_pushes: int = 0
    reason: str = ""


def speed_shares(pushes: pd.DataFrame) -> SpeedShares:
    """Split the gain in speed of one run between length and rate of its steps.

    Parameters
    ----------
    pushes : DataFrame
        The run's rows of ``pushes.csv`` in order of blade-off: `side, push, phase, step_length_m, step_time_s` and,
        where it is there, `step_length_m_sd`.

    Returns
    -------
    SpeedShares

    Notes
    -----
    A step's speed is its length times its rate, v = L f with f = 1 / step time, so that
    ln(v_late / v_early) = ln(L_late / L_early) + ln(f_late / f_early) holds exactly for means of logarithms; each
    part over the sum is its share. Early are the first two steps of each foot in the phase `acceleration`, late the
    last two of each foot in the phase `later`: as many of either foot, so that a difference between the feet
    cancels. Steps without a length or a time do not count; the standing push has neither.

    The standard error has two parts. How single steps scatter about their trend is seen from steps of the same foot
    in a row, x1 - 2 x2 + x3, whose variance is six times that of one step. What all steps of one end share, because
    the path is wrong there, is taken from the stated standard deviations of the lengths.
    The decomposition is ours (common practice for sums of logarithms, no source in skating).
    """
    steps = usable_steps(pushes)
    early = ends_of(steps[steps["phase"] == "acceleration"], first=True)
    late = ends_of(steps[steps["phase"] == "later"], first=False)
    changes = trend_changes(steps)
    if early is None or late is None or len(changes) < FEWEST_CHANGES:
        return SpeedShares(reason=FEW)
    gain = (late[["length", "rate"]].mean() - early[["length", "rate"]].mean()).to_numpy(dtype=float)
    covariance = changes.T @ changes / (6 * len(changes)) * (1 / len(early) + 1 / len(late))
    covariance[0, 0] += early["length_sd"].mean() ** 2 + late["length_sd"].mean() ** 2
    total, total_sd = float(gain.sum()), float(np.sqrt(covariance.sum()))
    longer, quicker = (float(one) for one in np.exp(gain))
    gains = SpeedShares(longer * quicker, longer, quicker, early_pushes=len(early), late_pushes=len(late))
    if total < CLEAR * total_sd:
        return replace(gains, reason=NO_GAIN)
    share = float(gain[0]) / total
    by = np.array([1 - share, -share]) / total
    share_sd = float(np.sqrt(by @ covariance @ by))
    if share_sd > SHARPEST_SD:
        return replace(gains, reason=UNSURE)
    return replace(gains, length_share_ratio=share, rate_share_ratio=1 - share, share_sd_ratio=share_sd)


def usable_steps(pushes: pd.DataFrame) -> pd.DataFrame:
    """Return the steps that have a length and a time: `side, phase`, place in the run, logarithms, relative error."""
    import pandas as pd

    length = pushes["step_length_m"].to_numpy(dtype=float)
    time = pushes["step_time_s"].to_numpy(dtype=float)
    sd = pushes["step_length_m_sd"] if "step_length_m_sd" in pushes else pd.Series(0.0, pushes.index)
    known = (pushes["push"].to_numpy() > 0) & (length > 0) & (time > 0)
    steps = pushes.loc[known, ["side", "push", "phase"]].reset_index(drop=True)
    return steps.assign(
        length=np.log(length[known]),
        rate=-np.log(time[known]),
        length_sd=sd.fillna(0.0).to_numpy(dtype=float)[known] / length[known],
    )


def ends_of(steps: pd.DataFrame, *, first: bool) -> pd.DataFrame | None:
    """Return the first or last two steps of each foot; None where a foot has fewer."""
    import pandas as pd

    feet = [steps[steps["side"] == side] for side in FEET]
    if min(len(foot) for foot in feet) < STEPS_OF_A_FOOT:
        return None
    return pd.concat([foot.head(STEPS_OF_A_FOOT) if first else foot.tail(STEPS_OF_A_FOOT) for foot in feet])


def trend_changes(steps: pd.DataFrame) -> NDArray[np.float64]:
    """Return x1 - 2 x2 + x3 of logarithms of length and rate over steps of a foot in a row, shape (m, 2)."""
    changes = [np.zeros((0, 2))]
    for side in FEET:
        foot = steps[steps["side"] == side]
        values = foot[["length", "rate"]].to_numpy(dtype=float)
        in_a_row = np.diff(foot["push"].to_numpy(), 2) == 0
        in_a_row &= np.diff(foot["push"].to_numpy())[1:] == 1
        changes.append(np.diff(values, 2, axis=0)[in_a_row])
    return np.concatenate(changes)
