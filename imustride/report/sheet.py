"""The sheet for the boards: one page, safety first, then who skates when, on which foot, with which sensors."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from imustride import __version__
from imustride.report.check import SAFETY
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


@dataclass(frozen=True, slots=True)
class Line:
    """One athlete's line: code, sensors by place, and for each run its name, clock time and start foot."""

    athlete: str
    sensors: dict[str, str]
    runs: tuple[tuple[str, str, str], ...]


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
            safety=SAFETY,
            before_each=BEFORE_EACH,
            size_pt=size_pt(len(lines)),
            fits=len(lines) <= SIZES[-1][0],
            version=__version__,
        )
    )


def size_pt(count: int) -> float:
    """Size of the letters with which so many lines fit on one page; the smallest where none does."""
    return next((size for most, size in SIZES if count <= most), SIZES[-1][1])
