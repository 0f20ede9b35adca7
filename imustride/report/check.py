"""The record of a check of sensors: one page for the laboratory's file, safety first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from imustride import __version__
from imustride.constants import SKATES
from imustride.report.pages import page_environment

if TYPE_CHECKING:
    from collections.abc import Iterable

    from imustride.results import CheckLine, CheckReport

MARK = '<meta name="generator" content="imustride check">'
BOTH = "both skates"
# A column for each of so many sensors; of more the table says where, as on the terminal.
COLUMNS = 4
WORDS = {"pass": "pass", "warn": "WARN", "fail": "FAIL", "not told": "not told"}
# What is looked at by hand and eye, before any figure. The rink's own rules come first.
SAFETY = (
    "The rink's own rules first; the guardian's consent and the child's own agreement are on record.",
    "Blade guards on, or cut-resistant gloves, while fitting sensors.",
    "Sensors on the outside of the holder: nothing can touch the edge, the ice at the deepest lean, or the other skate.",
    "Equal mass on both feet; no tape over the catch of a quick-release holder; nothing hard sticks out.",
    "No sensor over the spine; nothing on a certified helmet without the maker's leave.",
    "Run-out behind the last gate: at least 25 m free, nobody in it; brake at once. Shorter rink: shorter test.",
    "No cable, stand or tripod on the line; nobody beside the gates.",
    "Full protective equipment. After each run: no debris on the ice, sensors and screws still all there.",
)
# Where more than skates is worn.
SAFETY_BODY = (
    "Sensors on the body: flat, soft-edged, under the padding; none on a bone one falls on (hip, tailbone, back of the head).",
    "Straps wide and tight, nothing at the throat; a hand still fits between strap and knee with the knee bent.",
)


def safety(places: Iterable[str]) -> tuple[str, ...]:
    """Return what is looked at first, where sensors are worn at these places."""
    return SAFETY if set(places) <= set(SKATES) else (*SAFETY, *SAFETY_BODY)


def check_page(report: CheckReport) -> str:
    """Return the page as HTML that needs nothing else.

    Parameters
    ----------
    report : CheckReport
    """
    environment = page_environment()
    environment.filters["printed"] = printed
    lines = report.worst
    places = list(dict.fromkeys(line.where for line in lines if line.where != BOTH))
    many = len(places) > COLUMNS
    return environment.get_template("check.html.j2").render(
        mark=MARK,
        report=report,
        several=len(report.recordings) > 1,
        safety=safety(places),
        places=[(place, next(line.device for line in lines if line.where == place)) for place in places],
        many=many,
        rows=[] if many else rows(lines, places),
        brief=report.brief if many else (),
        todo=report.to_do,
        words=WORDS,
        version=__version__,
    )


def printed(text: str) -> str:
    """Return figures as they are printed."""
    return text.replace("+-", "\N{PLUS-MINUS SIGN}").replace("m/s^2", "m/s²").replace("_", " ")


def rows(lines: tuple[CheckLine, ...], places: list[str]) -> list[dict[str, Any]]:
    """Return one row a check: its cells by place, or one for all."""
    found: dict[str, dict[str, Any]] = {}
    for line in lines:
        row = found.setdefault(
            line.check, {"title": line.title, "limit": line.limit, "cells": {}, "both": None}
        )
        if line.where == BOTH:
            row["both"] = line
        else:
            row["cells"][line.where] = line
    return [{**row, "cells": [row["cells"].get(place) for place in places]} for row in found.values()]
