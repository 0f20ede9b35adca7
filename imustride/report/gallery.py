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
        ``title``, ``svg``, ``says``, ``caption``, ``reading``, ``table`` (headings and rows), ``rows`` (how many there are) and ``printed`` of each picture.
    """
    from imustride.report.pictures import PICTURES

    return [_shown(one, result, amounts) for one in PICTURES if len(one.table(result, None))]


def _shown(picture: Picture, result: SessionResult, amounts: Amounts) -> dict[str, Any]:
    from markupsafe import Markup

    from imustride.report.inline import inline_svg

    table = picture.table(result, None)
    words = picture.words(result, None, amounts)
    drawn = picture.draw(result, None, amounts.say, amounts.system)
    return {
        "name": picture.name,
        "title": words.title,
        "svg": Markup(inline_svg(drawn, picture.name)),  # noqa: S704 - our own drawing
        "says": words.says,
        "caption": words.caption,
        "reading": words.reading,
        "table": page_table(table.head(MOST_ROWS), amounts),
        "rows": len(table),
        "printed": picture.printed,
    }


def not_drawn(result: SessionResult, amounts: Amounts) -> str:
    """Name the pictures that could not be drawn, by their reason; empty where all were or nobody pushed."""
    from imustride.report.pictures import PICTURES

    say = amounts.say
    reasons: dict[str, list[str]] = {}
    for picture in PICTURES if len(result.pushes) else ():
        if not picture.goes_without_saying and not len(picture.table(result, None)):
            reasons.setdefault(_why(result, picture), []).append(say(f"pictures.{picture.name}.name"))
    said = [
        say("pictures.not_drawn", pictures=say.listed(names), why=say(f"pictures.why_{why}"))
        for why, names in reasons.items()
    ]
    return " ".join(said)


def _why(result: SessionResult, picture: Picture) -> str:
    """Return why a picture is not drawn: the last part of a text's key."""
    apart = all(any(not clock.joined for clock in run.clocks.values()) for run in result.runs)
    if picture.takes_both and len(set(result.pushes["side"])) < 2:
        return "one_skate"
    if picture.takes_both and not any(run.usable for run in result.runs):
        return "none_counts"
    if apart:
        return "clocks"
    return "tracks" if picture.tracked else "values"
