"""The page of a cut: the picture of every group of logs, which part is which line, and what was not matched."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from imustride import __version__
from imustride.report.cut_picture import cut_picture
from imustride.report.drawing import saved
from imustride.report.inline import inline_svg
from imustride.report.pages import page_environment
from imustride.report.sheet import MARK

if TYPE_CHECKING:
    from collections.abc import Sequence

    from imustride.report.cut_picture import Lane, Span


@dataclass(frozen=True, slots=True)
class CutRow:
    """One line of the list as a row of the page: cells in order of `HEADINGS`."""

    cells: tuple[str, ...]


HEADINGS = (
    "line", "code", "run", "start_s", "end_s", "starts at", "gate time", "pushes for", "stands for", "shocks", "remark",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class CutPicture:
    """One group of logs: their names, what there is to draw, its rows, and what was set aside, a line each."""

    title: str
    lanes: tuple[Lane, ...]
    spans: tuple[Span, ...]
    rows: tuple[CutRow, ...]
    aside: tuple[str, ...]


def cut_page(name: str, groups: Sequence[CutPicture], problems: Sequence[str], notes: Sequence[str]) -> str:
    """Return the page as HTML that needs nothing else.

    Parameters
    ----------
    name : str
        Of the list.
    groups : sequence of CutPicture
    problems, notes : sequence of str
        What was not matched; what is worth knowing.
    """
    from markupsafe import Markup

    drawn = [
        Markup(inline_svg(cut_picture(f"cut-{place}", group.lanes, group.spans), f"cut-{place}"))  # noqa: S704 - our own drawing
        for place, group in enumerate(groups, start=1)
    ]
    return (
        page_environment()
        .get_template("cut.html.j2")
        .render(
            mark=MARK,
            name=name,
            groups=list(zip(groups, drawn, strict=True)),
            headings=HEADINGS,
            problems=problems,
            notes=notes,
            version=__version__,
        )
    )


def cut_pictures(groups: Sequence[CutPicture]) -> dict[str, bytes]:
    """Return the picture of each group as SVG and PNG, by file name."""
    found: dict[str, bytes] = {}
    for place, group in enumerate(groups, start=1):
        drawn = cut_picture(f"cut-{place}", group.lanes, group.spans)
        found[f"cut-{place}.svg"] = saved(drawn, f"cut-{place}", "svg")
        found[f"cut-{place}.png"] = saved(drawn, f"cut-{place}", "png")
    return found
