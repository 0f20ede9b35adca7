"""How well the sensors of the body sat, and what stayed empty and why, in plain words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from imustride.registry import methods
from imustride.report.amounts import MISSING
from imustride.report.comparison import SIDES, name_of
from imustride.report.levels import worn_kinds
from imustride.report.measures import measures

if TYPE_CHECKING:
    import pandas as pd

    from imustride.report.amounts import Amounts
    from imustride.results import SessionResult

# Which way these face is asked by no metric.
NO_FORWARD = ("left_wrist", "right_wrist", "head")
FLAGS = ("body_not_aligned", "body_not_joined", "body_lost")


def sensor_rows(result: SessionResult, amounts: Amounts) -> list[list[str]]:
    """Return a row for each sensor of the body: its name, then how well each thing is known, in its worst run.

    Last stands what speaks against it, where anything speaks against any of them.

    Parameters
    ----------
    result : SessionResult
    amounts : Amounts
    """
    table = result.segments
    if table is None:
        return []
    rows = [_row(str(place), runs, amounts) for place, runs in table.groupby("place", sort=False)]
    return rows if any(row[-1] for row in rows) else [row[:-1] for row in rows]


def _row(place: str, runs: pd.DataFrame, amounts: Amounts) -> list[str]:
    say = amounts.say
    used = runs[runs["clock_sd_s"].notna()]
    key = f"place.{place}"
    name = say(key) if key in say else place.replace("_", " ")
    if used.empty:
        cells = [MISSING] * 4
    else:
        upright = "yes" if used["upright"].astype(bool).all() else "no"
        cells = [
            say(f"worn.upright_{upright}"),
            say("worn.forward_free") if place in NO_FORWARD else _forward(used, amounts),
            _within(used["heading_sd_deg"], "deg", amounts),
            _within(used["clock_sd_s"], "ms", amounts),
        ]
    problems = dict.fromkeys(say.reason(one) for one in runs["problem"].dropna() if one)
    return [name, *cells, say("list.semicolon").join(problems)]


def _forward(used: pd.DataFrame, amounts: Amounts) -> str:
    """How well the movements showed which way the sensor faces."""
    sd = used["forward_sd_deg"]
    if sd.isna().any():
        return amounts.say("worn.forward_none")
    within = _within(sd, "deg", amounts)
    return amounts.say.many("worn.shown", int(used["movements"].min()), within=within)


def _within(sd: pd.Series, of: str, amounts: Amounts) -> str:
    """The largest standard deviation of all runs; unknown where any is."""
    worst = math.nan if sd.isna().any() else float(sd.max())
    shown = amounts.amount(worst, of, worst)
    return amounts.say("worn.unknown") if shown == MISSING else f"±{shown}"


def emptied(result: SessionResult, amounts: Amounts) -> list[str]:
    """Say what of the body stayed empty: in how many pushes of each foot and why, and which metrics nowhere have a value.

    Parameters
    ----------
    result : SessionResult
    amounts : Amounts
    """
    say, pushes = amounts.say, result.pushes
    if result.segments is None or not len(pushes):
        return []
    said = []
    for flag in FLAGS:
        held = pushes["flags"].str.split(";").map(lambda words, flag=flag: flag in words).astype(bool)
        if held.any():
            said.append(say("worn.flagged", why=say(f"flag.{flag}"), **_of(held, pushes)))
    kinds = worn_kinds(result)
    known = methods("metrics")
    asked = [
        one.name
        for one in measures().values()
        if one.place == "body" and one.name in pushes and set(known[one.name].places) - {"skate"} <= kinds
    ]
    for side in SIDES:
        mine = pushes[pushes["side"] == side]
        names = [name_of(name, say) for name in asked if len(mine) and mine[name].isna().all()]
        if names:
            said.append(say("worn.nowhere", side=say(f"word.{side}"), what=say.listed(names)))
    return said or [say("worn.nothing")]


def _of(held: pd.Series, pushes: pd.DataFrame) -> dict[str, Any]:
    """How many pushes of each foot a flag stands at, and of how many."""
    return {
        name: value
        for side in SIDES
        for name, value in (
            (side, int(held[pushes["side"] == side].sum())),
            (f"{side}_all", int((pushes["side"] == side).sum())),
        )
    }
