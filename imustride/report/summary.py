"""The first page of a session: what was recorded, what was found, what cannot be told."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from imustride import __version__
from imustride.report.amounts import Amounts, System
from imustride.report.answer import answer, counting
from imustride.report.catalogue import DEFAULT_LANGUAGE, catalogue
from imustride.report.comparison import by_reason, figures, judged
from imustride.report.gallery import gallery, not_drawn
from imustride.report.page_rows import accuracy_rows, condition, push_table, run_rows, speed_rows
from imustride.report.pages import page_environment
from imustride.report.rows import HEADLINES, NOT_SHOWN, compared
from imustride.report.timing import no_time, time_blocks

if TYPE_CHECKING:
    import pandas as pd

    from imustride.results import SessionResult

MOST_ROWS = 150  # pushes in the table of the page; pushes.csv holds the rest


def summary_page(result: SessionResult, language: str = DEFAULT_LANGUAGE, system: System = "metric") -> str:
    """Write the summary of a session as one self-contained page.

    Parameters
    ----------
    result : SessionResult
    language : str
        One of `imustride.report.catalogue.languages`.
    system : "metric" or "imperial"
        Units of lengths and speeds; the tables stay metric.

    Returns
    -------
    str
        HTML without script and without anything to fetch; equal results give equal text.
    """
    amounts = Amounts(catalogue(language), system)
    return (
        page_environment()
        .get_template("summary.html.j2")
        .render(
            say=amounts.say,
            imperial=system == "imperial",
            **_who(result, amounts),
            times=time_blocks(result, amounts),
            no_time=no_time(result, amounts),
            runs=run_rows(result.runs_table, result.pushes, amounts),
            answer=answer(result, amounts),
            pictures=gallery(result, amounts),
            not_drawn=not_drawn(result, amounts),
            **_comparison(result, amounts),
            speeds=speed_rows(result.runs_table, amounts),
            **_pushes(result, amounts),
            accuracy=accuracy_rows(amounts),
        )
    )


def _who(result: SessionResult, amounts: Amounts) -> dict[str, Any]:
    session, say = result.session, amounts.say
    told = [
        *(say.reason(note) for note in result.notes),
        *(f"{run.name}: {say.reason(note)}" for run in result.runs for note in run.notes),
    ]
    return {
        "version": __version__,
        "session": session,
        "consent": say(f"consent.{session.consent or 'missing'}"),
        "surface": say(f"surface.{session.surface}"),
        "conditions": [condition(name, value, amounts) for name, value in session.conditions.items()],
        "remarks": told,
    }


def _comparison(result: SessionResult, amounts: Amounts) -> dict[str, Any]:
    """Return the rows of left and right, those that stand for the others first, and what was not measured."""
    say, pushes = amounts.say, counting(result)
    table = compared(result.symmetry)
    first = table["metric"].isin(HEADLINES)
    if not first.any():
        first = ~first
    shown = {*table["metric"], *NOT_SHOWN}
    rest = result.symmetry[~result.symmetry["metric"].isin(shown)]
    gone = by_reason(judged(row, pushes, amounts) for row in rest.to_dict("records"))
    return {
        "figures": [figures(row, pushes, amounts) for row in table[first].to_dict("records")],
        "more_figures": [figures(row, pushes, amounts) for row in table[~first].to_dict("records")],
        "not_compared": [
            say("figures.with_reason", name=say.listed(names), reason=reason)
            for reason, names in gone.items()
        ],
        "rest_on": _rest_on(table, amounts),
        "scope": "run" if set(table["scope"]) == {"run"} else "day",
    }


def _rest_on(table: pd.DataFrame, amounts: Amounts) -> str:
    """Say on how many pushes the comparisons rest, where paper has no room for each; nothing without any."""
    if table.empty:
        return ""
    n = table[["n_left", "n_right"]]
    low, high = n.to_numpy().min(), n.to_numpy().max()
    return amounts.say.many("figures.rest_on", int(table["n_runs"].max()), low=low, high=high)


def _pushes(result: SessionResult, amounts: Amounts) -> dict[str, Any]:
    headings, rows = push_table(result.pushes.head(MOST_ROWS), amounts)
    return {"push_headings": headings, "push_rows": rows, "pushes_in_all": len(result.pushes)}
