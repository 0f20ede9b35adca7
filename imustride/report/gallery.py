"""The pictures of a session's page: what there is to draw, with its words and its numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from imustride.report.picture import page_table

if TYPE_CHECKING:
    from imustride.report.amounts import Amounts
    from imustride.report.picture import Picture
    from imustride.results import SessionResult


MOST_ROWS = 150  # of a table on the page; the tables of the results hold the rest


def gallery(result: SessionResult, amounts: Amounts) -> list[dict[str, Any]]:
    """Draw what there is to draw, with a title, a caption and the same in words for those who cannot see it.

    Parameters
    ----------
    result : SessionResult
    amounts : Amounts

    Returns
    -------
    list of dict
        ``title``, ``svg``, ``says``, ``caption``, ``table`` (headings and rows), ``rows`` (how many there are) and ``printed`` of each picture.
    """
    from imustride.report.pictures import PICTURES

    return [_shown(one, result, amounts) for one in PICTURES if len(one.table(result, None))]


def _shown(picture: Picture, result: SessionResult, amounts: Amounts) -> dict[str, Any]:
    from markupsafe import Markup

    from imustride.report.drawing import inline_svg

    table = picture.table(result, None)
    words = picture.words(result, None, amounts)
    drawn = picture.draw(result, None, amounts.say, amounts.system)
    return {
        "name": picture.name,
        "title": words.title,
        "svg": Markup(inline_svg(drawn, picture.name)),  # noqa: S704 - our own drawing
        "says": words.says,
        "caption": words.caption,
        "table": page_table(table.head(MOST_ROWS), amounts),
        "rows": len(table),
        "printed": picture.printed,
    }


def not_drawn(result: SessionResult, amounts: Amounts) -> str:
    """Name the pictures that could not be drawn, with the reason; empty where all were."""
    from imustride.report.pictures import PICTURES

    say = amounts.say
    gone = [
        one
        for one in PICTURES
        if not len(one.table(result, None)) and any(len(r.pushes) for r in result.runs)
    ]
    if not gone:
        return ""
    names = [say(f"pictures.{one.name}.name") for one in gone]
    return say("pictures.not_drawn", pictures=say.listed(names), why=say(_why(result, gone)))


def _why(result: SessionResult, gone: list[Picture]) -> str:
    if not any(one.tracked for one in gone):
        return "pictures.why_values"
    if all(len(run.kinematics) < 2 for run in result.runs):
        return "pictures.why_one_skate"
    if all(not clock.joined for run in result.runs for clock in list(run.clocks.values())[1:]):
        return "pictures.why_clocks"
    return "pictures.why_tracks"
