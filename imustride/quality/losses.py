"""How much of a run was lost: at the end of a sensor's range, or in gaps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    import pandas as pd

    from imustride.kinematics import Kinematics


@dataclass(frozen=True, slots=True)
class LossSettings:
    """How much may be lost (common practice, no source).

    Angular velocity that is cut off is lost from the attitude for good, and each clipped push-off hides its own
    peak: where more than a quarter of a foot's push-offs is cut off, what is left is a choice of the slow ones.
    Landings clip an accelerometer of 16 g for some milliseconds and do no harm: up to 0.5 % of the motion in simulated
    runs. What is longer reaches into the velocity.
    """

    rate_clipped_pushes: float = 0.25
    acceleration_clipped: float = 0.02
    lost: float = 0.10
    gap_pushes: float = 0.5
    around_off_s: tuple[float, float] = (0.15, 0.10)


def loss_faults(
    kinematics: Mapping[str, Kinematics],
    off_s: Mapping[str, np.ndarray],
    pushes: pd.DataFrame,
    settings: LossSettings,
) -> Iterator[str]:
    """Yield a sentence for each loss that is too large.

    Parameters
    ----------
    kinematics : mapping of side to Kinematics
    off_s : mapping of side to ndarray
        Blade-offs on the own clock [s].
    pushes : DataFrame
        The run's rows of ``pushes.csv``.
    settings : LossSettings
    """
    for side, skate in kinematics.items():
        time_s = skate.time_s
        moving = slice(*np.searchsorted(time_s, skate.cut.motion_s))
        clipped = rate_clipped(skate, off_s[side], settings)
        if len(clipped) and clipped.mean() > settings.rate_clipped_pushes:
            yield (
                f"the angular velocity of the {side} sensor is cut off in {clipped.sum()} of {len(clipped)} push-offs; "
                "set a larger range"
            )
        share = float(skate.clipped[moving, 0].mean())
        if share > settings.acceleration_clipped:
            yield (
                f"the acceleration of the {side} sensor is cut off in {100 * share:.0f} % of the motion; "
                "set a larger range"
            )
        lost = float(1.0 - skate.measured[moving].mean())
        touched = (
            pushes.loc[pushes["side"] == side, "flags"].str.contains("gap", regex=False).to_numpy(dtype=bool)
        )
        if lost > settings.lost or (len(touched) and touched.mean() > settings.gap_pushes):
            yield (
                f"gaps take {100 * lost:.0f} % of the motion of the {side} sensor and touch {touched.sum()} of "
                f"{len(touched)} pushes; check the logger"
            )


def rate_clipped(skate: Kinematics, off_s: np.ndarray, settings: LossSettings) -> np.ndarray:
    """Whether the angular velocity is clipped around each blade-off, shape (k,)."""
    before_s, after_s = settings.around_off_s
    ended = off_s[np.isfinite(off_s)]
    edges = np.searchsorted(skate.time_s, np.stack((ended - before_s, ended + after_s)))
    total = np.concatenate(([0], np.cumsum(skate.clipped[:, 1])))
    return np.asarray(total[edges[1]] > total[edges[0]])
