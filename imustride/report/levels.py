"""Posture and movement: the level of each foot in figures, before any comparison of left and right."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from imustride.report.amounts import MISSING
from imustride.report.answer import counting
from imustride.report.comparison import SIDES, name_of
from imustride.report.drawing import FEET
from imustride.report.measures import measures, shown_unit

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from imustride.report.amounts import Amounts
    from imustride.results import SessionResult

# The groups of the section, and where a sensor must be worn that one of them is there.
GROUPS: Mapping[str, frozenset[str]] = {
    "shin_knee": frozenset({"shank", "thigh"}),
    "leg_hip": frozenset({"shank", "thigh"}),
    "hips_head": frozenset({"pelvis", "head"}),
    "trunk_arms": frozenset({"pelvis", "trunk", "wrist"}),
}
UNITS = {"s": "ms", "across": "cm"}  # finer than elsewhere: a mean of many pushes
PHASES = ("acceleration", "later")
LAG = "arm_push_lag_s"


def worn_kinds(result: SessionResult) -> set[str]:
    """Return where sensors were worn, without the side: ``shank``, ``pelvis``."""
    return {sensor.place.rpartition("_")[2] for sensor in result.session.sensors}


def level_groups(result: SessionResult, amounts: Amounts) -> list[dict[str, Any]]:
    """Return the tables of the section: mean, spread and number of pushes by foot and phase.

    Parameters
    ----------
    result : SessionResult
    amounts : Amounts

    Returns
    -------
    list of dict
        ``title``, ``rows`` (a name, then a cell for left and right of each phase of `PHASES`) and ``notes``; only groups
        that a sensor was worn for, only metrics with a value in a run that counts. Pushes from standing are another
        movement and left out.
    """
    pushes, worn = counting(result), worn_kinds(result)
    pushes = pushes[(pushes["push"] > 0) & ~pushes["flags"].str.contains("standing_start")]
    groups = []
    for group, kinds in GROUPS.items():
        names = [
            one.name
            for one in measures().values()
            if one.level == group and one.name in pushes and pushes[one.name].notna().any()
        ]
        if names and worn & kinds:
            rows = [[_name(name, amounts), *_cells(pushes, name, amounts)] for name in names]
            notes = _notes(pushes, names, amounts)
            groups.append({"title": amounts.say(f"levels.{group}"), "rows": rows, "notes": notes})
    return groups


def _name(metric: str, amounts: Amounts) -> str:
    """The name of a metric with its unit; in words that fit either sign where the cell says which."""
    say, unit = amounts.say, amounts.unit(_unit(metric))
    key = f"levels.{metric}.name"
    name = say(key) if key in say else name_of(metric, say)
    return f"{name} [{unit}]" if unit else name


def _unit(metric: str) -> str:
    """Return the unit of `imustride.report.amounts` in which a level is shown."""
    unit = "%" if metric.endswith("_ratio") else shown_unit(metric)
    return UNITS.get(unit, unit)


def _cells(pushes: pd.DataFrame, metric: str, amounts: Amounts) -> list[str]:
    return [
        _cell(pushes[metric][(pushes["phase"] == phase) & (pushes["side"] == side)], metric, amounts)
        for phase in PHASES
        for side in SIDES
    ]


def _cell(values: pd.Series, metric: str, amounts: Amounts) -> str:
    """Mean ± spread (n), each as fine as so many pushes tell the mean; what is negative in words where there are any."""
    say, unit = amounts.say, _unit(metric)
    mean, sd, n = moments(100 * values if unit == "%" else values)
    if n == 0:
        return MISSING
    known = sd / math.sqrt(n) if n > 1 else math.nan
    spread = amounts.number(sd, unit, known)
    text = directed(metric, amounts.number(mean, unit, known), amounts)
    return say("levels.one", mean=text, n=n) if n == 1 else say("levels.cell", mean=text, sd=spread, n=n)


def moments(values: pd.Series) -> tuple[float, float, int]:
    """Return mean, standard deviation (NaN of fewer than two) and number of what has a value."""
    known = values.dropna()
    return float(known.mean()), float(known.std(ddof=1)), len(known)


def directed(metric: str, number: str, amounts: Amounts) -> str:
    """Put the sign of a printed number into words, where the metric has any: "40 before"."""
    sign = "minus" if number.startswith("\N{MINUS SIGN}") else "plus"
    key = f"levels.{metric}.{sign}"
    if key not in amounts.say or not any(digit in number for digit in "123456789"):
        return number
    return amounts.say(key, number=number.removeprefix("\N{MINUS SIGN}"))


def _notes(pushes: pd.DataFrame, names: list[str], amounts: Amounts) -> list[str]:
    """Say below a table what a number alone does not."""
    say = amounts.say
    notes = [say(key) for name in names if (key := f"levels.{name}.note") in say]
    if "glide_before_extension_s" in names:
        notes.append(_criterion(pushes, amounts))
    if LAG in names:
        notes.append(_arm(pushes, amounts))
    return [note for note in notes if note]


def _criterion(pushes: pd.DataFrame, amounts: Amounts) -> str:
    """Say by which criterion the leg was taken to begin to straighten, and in how many pushes."""
    say = amounts.say
    by = pushes["push_start_by"][pushes["glide_before_extension_s"].notna()]
    said = [
        say.many(f"levels.start_by.{word}", int((by == word).sum()))
        for word in ("knee", "edge")
        if (by == word).any()
    ]
    return say("levels.start_by.note", how=say.listed(said))


def _arm(pushes: pd.DataFrame, amounts: Amounts) -> str:
    """Say in a sentence when the other arm ends its swing: "40 ms before the left blade leaves"."""
    say = amounts.say
    phase = "later" if pushes[LAG][pushes["phase"] == "later"].notna().any() else "acceleration"
    said = []
    for side in FEET:
        mean, sd, n = moments(pushes[LAG][(pushes["phase"] == phase) & (pushes["side"] == side)])
        number = amounts.number(mean, "ms", sd / math.sqrt(n)) if n > 1 else MISSING
        if number != MISSING:
            sign = "before" if number.startswith("\N{MINUS SIGN}") else "after"
            amount = amounts.with_unit(number.removeprefix("\N{MINUS SIGN}"), "ms")
            said.append(say(f"levels.arm.{sign}", amount=amount, side=say(f"word.{side}")))
    return say("levels.arm.note", phase=say(f"in_phase.{phase}"), when=say.listed(said)) if said else ""
