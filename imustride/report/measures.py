"""Which metrics the page shows and where: rows of a file, so that a new metric takes no code."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Literal

from imustride.report.words import unit_of

if TYPE_CHECKING:
    from collections.abc import Mapping

Place = Literal["skates", "body", "nowhere"]
PLACES: tuple[Place, ...] = ("skates", "body")  # that are shown, in their order
UNITS = {"m_s": "m/s", "deg_s": "deg/s", "rad_s": "rad/s", "m_s2": "m/s^2", "hz": "Hz", "percent": "%"}
UNITS |= {"ratio": "", "count": ""}


@dataclass(frozen=True, slots=True)
class Measure:
    """What the page shows of a metric.

    Parameters
    ----------
    name : str
        Column of ``pushes.csv``.
    place : "skates", "body" or "nowhere"
    headline : bool
        Whether it is among the few that stand for the others.
    pushes : bool
        Whether it is a column in the table of every push.
    level : str
        Group of `imustride.report.levels` whose table shows mean and spread of each foot; empty: none does.
    shown_as : str
        Unit of `imustride.report.amounts`; empty: the column's own.
    """

    name: str
    place: Place = "body"
    headline: bool = False
    pushes: bool = True
    level: str = ""
    shown_as: str = ""


@cache
def measures() -> Mapping[str, Measure]:
    """Return what is shown of each metric, by its name, in the order of the page."""
    text = (Path(__file__).parent / "measures.toml").read_text(encoding="utf-8")
    found = (Measure(**row) for row in tomllib.loads(text)["measure"])
    return MappingProxyType({one.name: one for one in found})


def measure(name: str) -> Measure:
    """Return what is shown of a metric; of one that nobody named what is shown of the body."""
    return measures().get(name, Measure(name, pushes=False))


def shown_unit(column: str) -> str:
    """Return the unit in which a column is shown, as `imustride.report.amounts` names units."""
    suffix = unit_of(column)
    return measure(column).shown_as or UNITS.get(suffix, suffix)
