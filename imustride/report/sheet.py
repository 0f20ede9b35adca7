"""The sheet for the boards: one page, safety first, then who skates when, on which foot, with which sensors."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from imustride import __version__
from imustride.constants import SKATES
from imustride.report.check import safety
from imustride.report.pages import page_environment

if TYPE_CHECKING:
    from collections.abc import Sequence

MARK = '<meta name="generator" content="imustride prepare">'
# Lines of an athlete that fit on one page of A4 or Letter, whichever is lower, at each size of letter [pt].
SIZES = ((16, 9.0), (22, 8.0), (30, 7.0), (38, 6.0))
BEFORE_EACH = (
    "Guards on, fit both skates, tug at both sensors, start both logs.",
    "On the ice: both heels raised and dropped at once, twice, a hand on the boards.",
    "Stand still on flat blades behind the first gate for 3 s or more; start foot as listed.",
    "Sprint, glide, stop, stand still, both heels twice again. Look for debris. Keep or repeat?",
)
# Where sensors are worn on the body: what shows how they sit.
MOVEMENTS = (
    "Straps tight, logs started, at the boards: stand straight for 3 s, legs straight, arms hanging, trunk upright, eyes ahead.",
    "Two slow squats: hips back, trunk forward, knees over the feet; stand for 2 s.",
    "Two turns of the trunk, left and right; stand for 2 s.",
    "Two swings of both arms, forward and back; stand for 2 s. Stop the logs: a recording of its own.",
    "Later in every run: arms and head still in the 3 s before the start; heels so sharp that the head feels them.",
)
# A column for each of so many places; of more, one column of all sensors, about so many beside each other.
COLUMNS, IN_A_ROW = 4, 4


@dataclass(frozen=True, slots=True)
class Line:
    """One athlete's line: code, sensors by place, for each run its name, clock time and start foot; when it moves first."""

    athlete: str
    sensors: dict[str, str]
    runs: tuple[tuple[str, str, str], ...]
    movements: str = ""

    @property
    def on_body(self) -> bool:
        """Whether more than skates is worn."""
        return not set(self.sensors) <= set(SKATES)


def sheet_page(date: str, protocol: str, lines: Sequence[Line]) -> str:
    """Return the page as HTML that needs nothing else and prints on one page.

    Parameters
    ----------
    date : str
        A day, or from when to when.
    protocol : str
        Empty where nothing is known.
    lines : sequence of Line
    """
    places = list(dict.fromkeys(place for line in lines for place in line.sensors))
    body = any(line.on_body for line in lines)
    count = height(lines)
    return (
        page_environment()
        .get_template("sheet.html.j2")
        .render(
            mark=MARK,
            date=date,
            protocol=protocol,
            lines=lines,
            places=places,
            columns=max((len(line.runs) for line in lines), default=0),
            safety=safety(places),
            before_each=BEFORE_EACH,
            movements=MOVEMENTS if body else (),
            together=len(places) > COLUMNS,
            size_pt=size_pt(count),
            fits=count <= SIZES[-1][0],
            version=__version__,
        )
    )


def height(lines: Sequence[Line]) -> int:
    """How many lines of text a table of these athletes takes, counted in lines of two sensors."""
    table = sum(max(1, math.ceil(len(line.sensors) / IN_A_ROW)) for line in lines)
    return table + (len(MOVEMENTS) if any(line.on_body for line in lines) else 0)


def size_pt(count: int) -> float:
    """Size of the letters with which so many lines fit on one page; the smallest where none does."""
    return next((size for most, size in SIZES if count <= most), SIZES[-1][1])
