"""The rows of ``pushes.csv``: pushes of both feet numbered, measured and flagged."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.view import PushView

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from imustride.kinematics import Clock, Kinematics
    from imustride.registry import Metric

ACCELERATION_PUSHES = 6
FLAGS = (
    "standing_start",
    "first_lift",
    "after_finish",
    "log_end",
    "no_glide",
    "clocks_not_synchronised",
    "gap",
    "clipped",
    "sides_swapped",
)
EVENT_GUARD_S = 0.02


@dataclass(frozen=True, eq=False, slots=True)
class Foot:
    """One foot's run: motion, clock, contacts on the own clock, and how many of them are pushes."""

    kinematics: Kinematics
    clock: Clock
    contacts_s: NDArray[np.float64]
    pushes: int


def push_table(name: str, feet: Mapping[str, Foot], metrics: Sequence[Metric]) -> pd.DataFrame:
    """Return one row a push in order of blade-off.

    Parameters
    ----------
    name : str
        Name of the run.
    feet : mapping of side to Foot
    metrics : sequence of Metric
        Columns to fill, in order.

    Returns
    -------
    DataFrame
        The columns of ``pushes.csv``; times on the reference clock where joined.
    """
    import pandas as pd

    joined = len(feet) == 2 and all(foot.clock.joined for foot in feet.values())
    tables = [side_table(side, feet, metrics, joined=joined) for side in feet]
    table = pd.concat(tables, ignore_index=True)
    table.insert(0, "run", name)
    table = table.sort_values("blade_off_s", kind="stable", na_position="last", ignore_index=True)
    return number_pushes(table, joined=joined)


def side_table(side: str, feet: Mapping[str, Foot], metrics: Sequence[Metric], *, joined: bool) -> pd.DataFrame:
    """Return the rows of one side, not yet numbered."""
    import pandas as pd

    foot = feet[side]
    view = push_view(side, feet, joined=joined)
    table = pd.DataFrame({"side": [side] * foot.pushes, "push": 0, "phase": ""})
    table["blade_on_s"] = np.asarray(foot.clock.reference(view.on_s))
    table["blade_off_s"] = np.asarray(foot.clock.reference(view.off_s))
    for metric in metrics:
        table[metric.name] = metric.measure(view)
    spoiled_on, spoiled_off, flags = spoiled(view, feet, joined=joined)
    hide(table, spoiled_on, spoiled_off)
    table["flags"] = flags
    return table


def push_view(side: str, feet: Mapping[str, Foot], *, joined: bool) -> PushView:
    """Return what the metrics see of one side."""
    foot = feet[side]
    count = foot.pushes
    on_s, off_s = foot.contacts_s[:count].T
    following = foot.contacts_s[1:, 0]
    next_on_s = np.concatenate((following, np.full(max(count - len(following), 0), np.nan)))[:count]
    other_on_s = np.full(count, np.nan)
    if joined:
        other = next(feet[name] for name in feet if name != side)
        theirs = np.asarray(other.clock.reference(other.contacts_s[1:, 0]))
        mine = np.nan_to_num(np.asarray(foot.clock.reference(on_s)), nan=-np.inf)
        until = np.nan_to_num(np.asarray(foot.clock.reference(next_on_s)), nan=np.inf)
        k = np.searchsorted(theirs, mine)
        found = k < len(theirs)
        candidate = np.where(found, theirs[np.minimum(k, len(theirs) - 1)], np.nan) if len(theirs) else other_on_s
        candidate = np.where(candidate < until, candidate, np.nan)
        # Back onto the own clock: the map is affine with a drift of some 1e-5.
        shift = np.asarray(foot.clock.reference(off_s)) - off_s
        other_on_s = candidate - shift
    return PushView(foot.kinematics, on_s, off_s, next_on_s, other_on_s)


def spoiled(
    view: PushView, feet: Mapping[str, Foot], *, joined: bool
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], list[str]]:
    """Which blade-ons and blade-offs lie in a gap, and the flags of each push."""
    kinematics = view.kinematics
    count = len(view.off_s)
    lost_on, lost_off = np.zeros(count, bool), np.zeros(count, bool)
    flags: list[str] = []
    for k, (on_s, off_s) in enumerate(zip(view.on_s, view.off_s, strict=True)):
        words = []
        if np.isnan(on_s):
            words.append("standing_start")
            on_s = kinematics.cut.stance_s[1]  # noqa: PLW2901 - the stance is where this contact is looked at
        else:
            lost_on[k] = not kinematics.measured[view.samples(on_s - EVENT_GUARD_S, on_s + EVENT_GUARD_S)].all()
        if np.isnan(off_s):
            words.append("log_end")
            off_s = kinematics.time_s[-1]  # noqa: PLW2901
        else:
            lost_off[k] = not kinematics.measured[view.samples(off_s - EVENT_GUARD_S, off_s + EVENT_GUARD_S)].all()
        touched = view.samples(on_s - EVENT_GUARD_S, off_s + 0.1)
        if not kinematics.measured[touched].all():
            words.append("gap")
        if kinematics.clipped[touched].any():
            words.append("clipped")
        if len(feet) == 2 and not joined:
            words.append("clocks_not_synchronised")
        flags.append(";".join(words))
    return lost_on, lost_off, flags


def hide(table: pd.DataFrame, lost_on: NDArray[np.bool_], lost_off: NDArray[np.bool_]) -> None:
    """Empty the values that rest on an event inside a gap."""
    for column in ("blade_on_s", "contact_time_s", "stride_time_s", "stride_rate_hz", "step_time_s"):
        table.loc[lost_on, column] = np.nan
    for column in ("contact_time_s", "swing_time_s", "double_support_s", "push_off_angular_velocity_deg_s"):
        table.loc[lost_off, column] = np.nan


def number_pushes(table: pd.DataFrame, *, joined: bool) -> pd.DataFrame:
    """Number the pushes of each side, mark the foot that lifts first, name the phases."""
    standing = table["flags"].str.contains("standing_start", regex=False)
    first = table.index[standing][:1] if joined and standing.sum() == 2 else table.index[:0]
    table.loc[first, "flags"] = table.loc[first, "flags"].str.replace("standing_start", "standing_start;first_lift")
    table["push"] = 1
    table.loc[first, "push"] = 0
    table["push"] = table.groupby("side")["push"].cumsum()
    if joined:
        order = (table["push"] > 0).cumsum()
    else:
        order = 2 * table.groupby("side").cumcount() + 1
    table["phase"] = np.where(order <= ACCELERATION_PUSHES, "acceleration", "later")
    return table
