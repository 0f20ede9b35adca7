"""All that speaks against a run, in one place."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from imustride.quality.losses import LossSettings, loss_faults
from imustride.quality.mounting import MountingSettings, mounting_faults
from imustride.quality.rhythm import RhythmSettings, rhythm_faults
from imustride.quality.sides import SideSettings, runs_forward, sides_told

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from numpy.typing import NDArray

    from imustride.kinematics import Kinematics

SWAPPED = (
    "left and right are swapped: on both feet the pushes lean to what would be the outside edge; "
    "exchange the two files, or the places, in session.toml"
)


@dataclass(frozen=True, slots=True)
class QualitySettings:
    """Limits of a usable run."""

    fewest_pushes: int = 2  # of a foot: with one there is no pair in either order
    mounting: MountingSettings = field(default_factory=MountingSettings)
    losses: LossSettings = field(default_factory=LossSettings)
    rhythm: RhythmSettings = field(default_factory=RhythmSettings)
    sides: SideSettings = field(default_factory=SideSettings)


@dataclass(frozen=True, slots=True)
class Judgement:
    """What speaks against a run: empty where it is usable. `swapped`: its sides are exchanged."""

    faults: tuple[str, ...]
    swapped: bool


def judge(
    kinematics: Mapping[str, Kinematics],
    off_s: Mapping[str, NDArray[np.float64]],
    pushes: pd.DataFrame,
    settings: QualitySettings | None = None,
) -> Judgement:
    """Judge one run.

    Parameters
    ----------
    kinematics : mapping of side to Kinematics
    off_s : mapping of side to ndarray
        Blade-offs of the pushes on the own clock [s].
    pushes : DataFrame
        The run's rows of ``pushes.csv``.
    settings : QualitySettings, optional
    """
    settings = settings or QualitySettings()
    faults = list(too_few(pushes, kinematics, settings.fewest_pushes))
    lost = [side for side, skate in kinematics.items() if not runs_forward(skate, settings.sides)]
    faults += [astray(side, kinematics[side]) for side in lost]
    told = sides_told(kinematics, off_s, settings.sides)
    against = [side for side, says in told.items() if says == "contradicts"]
    swapped = len(against) == 2
    if swapped:
        faults.append(SWAPPED)
    faults += [
        f"the pushes of the {side} foot lean outwards: its axes are declared wrongly, the other foot's file was "
        "taken, or forward was not found; check the mounting"
        for side in against
        if not swapped
    ]
    last_off_s = {side: float(np.nanmax(own, initial=-np.inf)) for side, own in off_s.items()}
    faults += mounting_faults(kinematics, last_off_s, settings.mounting)
    losses = list(loss_faults(kinematics, off_s, pushes, settings.losses))
    # What was lost breaks the rhythm too: the cause is enough.
    faults += losses or rhythm_faults(pushes, settings.rhythm)
    return Judgement(tuple(faults), swapped)


def astray(side: str, skate: Kinematics) -> str:
    """Say why a skate may seem to run another way than its forward axis points."""
    if skate.measured[slice(*np.searchsorted(skate.time_s, skate.cut.motion_s))].all():
        why = "its axes are declared wrongly, or forward was not found; check the mounting"
    else:
        why = "its turn was lost in a gap of the log; check the logger"
    return f"the {side} skate does not run the way its forward axis points: {why}"


def too_few(pushes: pd.DataFrame, kinematics: Mapping[str, Kinematics], fewest: int) -> list[str]:
    """Say on which foot too few pushes were found."""
    counted = pushes[pushes["push"] > 0]
    if counted.empty:
        return ["no push was found"]
    numbers = {side: int((counted["side"] == side).sum()) for side in kinematics}
    return [
        f"only {number} push{'es' if number != 1 else ''} of the {side} foot found; wanted {fewest} or more"
        for side, number in numbers.items()
        if number < fewest
    ]
