"""The rows of ``pushes.csv``: pushes of both feet numbered, measured and flagged."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.edge_change import edge_changes
from imustride.metrics.extension import glide_before_push
from imustride.metrics.limbs_of import limbs_of, places_with
from imustride.metrics.view import OtherFoot, PushView, any_in

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import pandas as pd
    from numpy.typing import NDArray

    from imustride.kinematics import BladePath, Clock, Kinematics
    from imustride.metrics.limbs import Limbs
    from imustride.registry import Metric
    from imustride.segments import Body

ACCELERATION_PUSHES = 6
FLAGS = (
    "standing_start",
    "first_lift",
    "after_finish",
    "log_end",
    "no_glide",
    "no_edge_change",
    "clocks_not_synchronised",
    "gap",
    "clipped",
    "sides_swapped",
    "path_doubtful",
    "gates_left_out",
    "body_not_aligned",
    "body_not_joined",
    "body_lost",
)
EVENT_GUARD_S = 0.02
RESTS_ON_BLADE_ON = (
    "blade_on_s", "contact_time_s", "stride_time_s", "stride_rate_hz", "step_time_s", "blade_speed_m_s",
    "blade_speed_m_s_sd", "stride_length_m", "stride_length_m_sd", "step_length_m", "step_length_m_sd", "lateral_travel_m",
    "lateral_travel_m_sd", "glide_share_ratio", "glide_share_ratio_sd", "glide_before_extension_s",
)  # fmt: skip
RESTS_ON_BLADE_OFF = (
    "contact_time_s", "swing_time_s", "double_support_s", "push_off_angular_velocity_deg_s", "blade_speed_m_s",
    "blade_speed_m_s_sd", "track_angle_deg", "track_angle_deg_sd", "stride_width_m", "stride_width_m_sd",
    "lateral_travel_m", "lateral_travel_m_sd", "glide_share_ratio", "glide_share_ratio_sd",
)  # fmt: skip


@dataclass(frozen=True, eq=False, slots=True)
class Foot:
    """One foot's run: motion, clock, contacts on the own clock, and how many of them are pushes."""

    kinematics: Kinematics
    clock: Clock
    contacts_s: NDArray[np.float64]
    pushes: int
    path: BladePath | None = None


def push_table(
    name: str, feet: Mapping[str, Foot], metrics: Sequence[Metric], body: Body | None = None
) -> pd.DataFrame:
    """Return one row a push in order of blade-off.

    Parameters
    ----------
    name : str
        Name of the run.
    feet : mapping of side to Foot
    metrics : sequence of Metric
        Columns to fill, in order.
    body : Body, optional
        The rest of the body, where more than skates was worn.

    Returns
    -------
    DataFrame
        The columns of ``pushes.csv``; times on the reference clock where joined.
    """
    import pandas as pd

    joined = len(feet) == 2 and all(foot.clock.joined for foot in feet.values())
    tables = [side_table(side, feet, metrics, body, joined=joined) for side in feet]
    table = pd.concat(tables, ignore_index=True)
    table.insert(0, "run", name)
    table = table.sort_values("blade_off_s", kind="stable", na_position="last", ignore_index=True)
    return number_pushes(table, joined=joined)


def side_table(
    side: str, feet: Mapping[str, Foot], metrics: Sequence[Metric], body: Body | None, *, joined: bool
) -> pd.DataFrame:
    """Return the rows of one side, not yet numbered."""
    import pandas as pd

    foot = feet[side]
    view, cut_short = push_view(side, feet, joined=joined)
    spoiled_on, spoiled_off, flags = spoiled(view, cut_short, feet, joined=joined)
    view = replace(view, limbs=limbs_with(view, foot, body, spoiled_on, spoiled_off))
    # Kinds are stated: a column of no values would have none. Column by column a table costs ten times as much.
    words = pd.Series([side] * foot.pushes, dtype=str)
    columns = {
        "side": words,
        "push": np.zeros(foot.pushes, int),
        "phase": words,
        "blade_on_s": np.asarray(foot.clock.reference(view.on_s)),
        "blade_off_s": np.asarray(foot.clock.reference(view.off_s)),
        **{metric.name: metric.measure(view) for metric in metrics},
        "push_start_by": pd.Series(glide_before_push(view)[1], dtype=str),
    }
    table = pd.DataFrame(columns)
    hide(table, spoiled_on, spoiled_off)
    timed = np.isfinite(view.on_s) & np.isfinite(view.off_s) & ~spoiled_off
    if foot.path is not None:
        flags = with_word(flags, "no_glide", timed & table["track_angle_deg"].isna().to_numpy())
    changes = edge_changes(view)
    flags = with_word(flags, "no_edge_change", timed & ~spoiled_on & changes.seen & np.isnan(changes.time_s))
    for word, told in body_words(view, foot, body).items():
        flags = with_word(flags, word, told)
    table["flags"] = pd.Series(flags, dtype=str)
    return table


def limbs_with(
    view: PushView,
    foot: Foot,
    body: Body | None,
    lost_on: NDArray[np.bool_],
    lost_off: NDArray[np.bool_],
) -> Limbs | None:
    """Return the rest of the body around one foot; None where nothing else was worn or the foot's clock stands alone.

    Events inside a gap of the skate are not known: nothing is read there.
    """
    limbs = limbs_of(body, view, foot.clock) if body is not None and foot.clock.joined else None
    if limbs is None:
        return None
    return replace(
        limbs,
        begin_s=np.where(lost_on, np.nan, limbs.begin_s),
        on_s=np.where(lost_on, np.nan, limbs.on_s),
        off_s=np.where(lost_off, np.nan, limbs.off_s),
    )


def body_words(view: PushView, foot: Foot, body: Body | None) -> dict[str, NDArray[np.bool_]]:
    """Return what is wrong with sensors of the body, by word of the flags, for each push they go with."""
    if body is None:
        return {}
    every = np.ones(len(view.on_s), bool)
    words = {}
    if not foot.clock.joined or not body.problems.keys().isdisjoint(
        places_with(view.kinematics.side).values()
    ):
        words["body_not_joined"] = every
    if view.limbs is not None:
        if view.limbs.poor:
            words["body_not_aligned"] = every
        words["body_lost"] = view.limbs.lost()
    return words


def with_word(flags: list[str], word: str, told: NDArray[np.bool_]) -> list[str]:
    """Add a word to the flags of the pushes of which it is told."""
    return [
        ";".join(filter(None, (words, word if one else ""))) for words, one in zip(flags, told, strict=True)
    ]


def push_view(side: str, feet: Mapping[str, Foot], *, joined: bool) -> tuple[PushView, NDArray[np.bool_]]:
    """Return what the metrics see of one side, and which pushes miss a later blade-on that lies in a gap."""
    foot = feet[side]
    count = foot.pushes
    on_s, off_s = foot.contacts_s[:count].T
    following = foot.contacts_s[1:, 0]
    until_s = np.concatenate((following, np.full(max(count - len(following), 0), np.nan)))[:count]
    next_lost = in_gap(foot.kinematics, until_s)
    next_on_s = np.where(next_lost, np.nan, until_s)
    if not joined:
        nothing = np.full(count, np.nan)
        return PushView(foot.kinematics, on_s, off_s, next_on_s, nothing, foot.path), next_lost
    other = next(feet[name] for name in feet if name != side)
    theirs_s, other_lost = other_blade_on(foot, other, np.stack((on_s, until_s)))
    # Back onto the own clock: the map is affine with a drift of some 1e-5, so any time nearby will do.
    near_s = np.where(np.isfinite(off_s), off_s, on_s)
    shift_s = np.asarray(foot.clock.reference(near_s)) - near_s
    other_on_s = np.asarray(other.clock.reference(theirs_s)) - shift_s
    seen = None
    if foot.path is not None and other.path is not None:
        seen = OtherFoot(other.path, theirs_s, other_blade_off(foot, other, off_s))
    view = PushView(foot.kinematics, on_s, off_s, next_on_s, other_on_s, foot.path, seen)
    return view, next_lost | other_lost


def other_blade_off(foot: Foot, other: Foot, off_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the other foot's first blade-off after each of this foot's, on its own clock [s]."""
    theirs = np.append(other.contacts_s[: other.pushes, 1], np.nan)
    mine = np.asarray(foot.clock.reference(off_s))
    k = np.searchsorted(np.asarray(other.clock.reference(theirs[:-1])), mine, side="right")
    return np.where(in_gap(other.kinematics, theirs)[k], np.nan, theirs[k])


def other_blade_on(
    foot: Foot, other: Foot, events_s: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return the other foot's blade-on that follows each of this foot's [its own clock, s], and where it is lost.

    `events_s` holds this foot's blade-ons and next blade-ons, shape (2, k).
    """
    on_s, until_s = events_s
    theirs = np.append(other.contacts_s[1:, 0], np.nan)
    lost = in_gap(other.kinematics, theirs)
    on_reference = np.asarray(other.clock.reference(theirs))
    mine = np.nan_to_num(np.asarray(foot.clock.reference(on_s)), nan=-np.inf)
    until = np.nan_to_num(np.asarray(foot.clock.reference(until_s)), nan=np.inf)
    k = np.searchsorted(on_reference[:-1], mine)
    follows = on_reference[k] < until
    return np.where(follows & ~lost[k], theirs[k], np.nan), follows & lost[k]


def in_gap(kinematics: Kinematics, at_s: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether samples near an instant [own clock, s] were not measured; False where there is no instant."""
    place = np.nan_to_num((at_s - kinematics.start_s) * kinematics.rate_hz)
    guard = EVENT_GUARD_S * kinematics.rate_hz
    first, stop = np.round((place - guard, place + guard + 1)).astype(np.int64)
    return np.isfinite(at_s) & any_in(~kinematics.measured, first, stop)


def spoiled(
    view: PushView, cut_short: NDArray[np.bool_], feet: Mapping[str, Foot], *, joined: bool
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], list[str]]:
    """Which blade-ons and blade-offs lie in a gap, and the flags of each push."""
    kinematics = view.kinematics
    standing, unfinished = np.isnan(view.on_s), np.isnan(view.off_s)
    # A standing contact is looked at from the end of the stance.
    begin_s = np.where(standing, kinematics.cut.stance_s[1], view.on_s)
    end_s = np.where(
        unfinished, kinematics.start_s + len(kinematics.measured) / kinematics.rate_hz, view.off_s
    )
    touched = view.samples(begin_s - EVENT_GUARD_S, end_s + 0.1)
    words = {
        "standing_start": standing,
        "log_end": unfinished,
        "gap": cut_short | any_in(~kinematics.measured, *touched),
        "clipped": any_in(kinematics.clipped[:, 0] | kinematics.clipped[:, 1], *touched),
        "clocks_not_synchronised": np.full(len(standing), len(feet) == 2 and not joined),
    }
    flags = [
        ";".join(word for word, told in zip(words, row, strict=True) if told)
        for row in zip(*(told.tolist() for told in words.values()), strict=True)
    ]
    return in_gap(kinematics, view.on_s), in_gap(kinematics, view.off_s), flags


def hide(table: pd.DataFrame, lost_on: NDArray[np.bool_], lost_off: NDArray[np.bool_]) -> None:
    """Empty the values that rest on an event inside a gap."""
    for lost, columns in ((lost_on, RESTS_ON_BLADE_ON), (lost_off, RESTS_ON_BLADE_OFF)):
        if lost.any():
            table.loc[lost, [name for name in columns if name in table]] = np.nan


def number_pushes(table: pd.DataFrame, *, joined: bool) -> pd.DataFrame:
    """Number the pushes of each side, mark the foot that lifts first, name the phases."""
    standing = table["flags"].str.contains("standing_start", regex=False)
    first = table.index[standing][:1] if joined and standing.sum() == 2 else table.index[:0]
    table.loc[first, "flags"] = table.loc[first, "flags"].str.replace(
        "standing_start", "standing_start;first_lift"
    )
    table["push"] = 1
    table.loc[first, "push"] = 0
    table["push"] = table.groupby("side")["push"].cumsum()
    counted = (table["push"] > 0).astype(int)
    order = counted.cumsum() if joined else 2 * table.groupby("side").cumcount() + 1
    table["phase"] = np.where(order <= ACCELERATION_PUSHES, "acceleration", "later")
    return table
