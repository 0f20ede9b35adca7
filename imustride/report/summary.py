"""The first page of a session: what was recorded, what was found, what cannot be told."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from imustride import __version__
from imustride.report.amounts import Amounts, System
from imustride.report.answer import answer, counting, spoken
from imustride.report.catalogue import DEFAULT_LANGUAGE, catalogue
from imustride.report.comparison import by_reason, figures, judged
from imustride.report.drawing import FEET
from imustride.report.gallery import gallery, not_drawn
from imustride.report.levels import PHASES, level_groups
from imustride.report.measures import PLACES, measure
from imustride.report.page_rows import accuracy_rows, condition, push_table, run_rows, speed_rows
from imustride.report.pages import page_environment
from imustride.report.rows import compared
from imustride.report.smallest import convention
from imustride.report.timing import no_time, time_blocks
from imustride.report.worn import emptied, sensor_rows

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import pandas as pd

    from imustride.report.comparison import Judged
    from imustride.results import SessionResult

MOST_ROWS = 150  # pushes in the table of the page; pushes.csv holds the rest
MOST_BODY_ROWS = 40  # of the rest of the body; of more one run stands for all
MOST_PAPER_RUNS, MOST_PAPER_ROWS = 10, 5  # what a sheet of paper has room for; a screen shows all


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
            **_runs(result, amounts),
            answer=answer(result, amounts),
            **_levels(result, amounts),
            pictures=gallery(result, amounts),
            not_drawn=not_drawn(result, amounts),
            **_comparison(result, amounts),
            speeds=speed_rows(result.runs_table, amounts),
            **_pushes(result, amounts),
            accuracy=accuracy_rows(amounts),
            convention=convention(result.symmetry, amounts.say),
        )
    )


def _levels(result: SessionResult, amounts: Amounts) -> dict[str, Any]:
    """Return the tables of posture and movement with their columns, and how the sensors of the body sat."""
    columns = [(amounts.say(f"of_phase.{phase}"), FEET[side].letter) for phase in PHASES for side in FEET]
    return {
        "levels": level_groups(result, amounts),
        "level_columns": columns,
        "worn": sensor_rows(result, amounts),
        "emptied": emptied(result, amounts),
    }


def _who(result: SessionResult, amounts: Amounts) -> dict[str, Any]:
    session, say = result.session, amounts.say
    notes = _named((run.name, say.reason(note)) for run in result.runs for note in run.notes)
    told = [
        *(say.reason(note) for note in result.notes),
        *(say("page.of_runs", runs=say.listed(names), what=note) for note, names in notes.items()),
    ]
    return {
        "version": __version__,
        "session": session,
        "consent": say(f"consent.{session.consent or 'missing'}"),
        "surface": say(f"surface.{session.surface}"),
        "conditions": [condition(name, value, amounts) for name, value in session.conditions.items()],
        "remarks": told,
    }


def _named(said: Iterable[tuple[str, str]]) -> dict[str, list[str]]:
    """Return what is said of runs, each sentence once, with the names of the runs."""
    found: dict[str, list[str]] = {}
    for name, sentence in said:
        found.setdefault(sentence, []).append(name)
    return found


def _runs(result: SessionResult, amounts: Amounts) -> dict[str, Any]:
    """Return the rows of the runs, and for paper, which has no room for a reason in each, those that do not count."""
    say, rows = amounts.say, run_rows(result.runs_table, result.pushes, amounts)
    reasons = _named((row["name"], row["why"]) for row in rows if not row["usable"])
    return {
        "runs": rows,
        "most_paper_runs": MOST_PAPER_RUNS,
        "left_out": [
            say("page.of_runs", runs=say.listed(names), what=reason) for reason, names in reasons.items()
        ],
    }


def _comparison(result: SessionResult, amounts: Amounts) -> dict[str, Any]:
    """Return the rows of left and right, those that stand for the others first, and what was not measured."""
    say, pushes = amounts.say, counting(result)
    rows = compared(result.symmetry).to_dict("records")
    said = [judged(row, pushes, amounts) for row in rows]
    first = [one.kind == "real" or measure(one.metric).headline for one in said]
    if not any(first):
        first = [True] * len(rows)
    paper = _for_paper(said)
    shown = [
        {**figures(row, pushes, amounts), "paper": place in paper, "first": first[place]}
        for place, row in enumerate(rows)
    ]
    rest = spoken(result)
    rest = rest[~rest["metric"].isin({row["metric"] for row in rows})]
    gone = by_reason(judged(row, pushes, amounts) for row in rest.to_dict("records"))
    return {
        "figures": [one for one in shown if one["first"]],
        "more_figures": [one for one in shown if not one["first"]],
        "one_skate": len(set(pushes["side"])) == 1,
        "not_compared": [
            say("figures.with_reason", name=say.listed(names), reason=reason)
            for reason, names in gone.items()
        ],
        "rest_on": _rest_on(compared(result.symmetry), amounts),
        "scope": "run" if {row["scope"] for row in rows} == {"run"} else "day",
    }


def _for_paper(said: Sequence[Judged]) -> set[int]:
    """Return which rows are on paper: the strongest differences, then the later pushes of what stands for the others."""
    real = sorted((n for n, one in enumerate(said) if one.kind == "real"), key=lambda n: -said[n].strength)
    late = [n for n, one in enumerate(said) if one.phase == "later" and measure(one.metric).headline]
    return {*list(dict.fromkeys([*real, *late]))[:MOST_PAPER_ROWS]}


def _rest_on(table: pd.DataFrame, amounts: Amounts) -> str:
    """Say on how many pushes the comparisons rest, where paper has no room for each; nothing without any."""
    if table.empty:
        return ""
    n = table[["n_left", "n_right"]]
    low, high = n.to_numpy().min(), n.to_numpy().max()
    return amounts.say.many("figures.rest_on", int(table["n_runs"].max()), low=low, high=high)


def _pushes(result: SessionResult, amounts: Amounts) -> dict[str, Any]:
    """Return the tables of every push, one a place of sensors: its name, the only run in it, headings and rows.

    Of many pushes the rest of the body, whose levels stand in a section of their own, shows one run.
    """
    tables = []
    for place in PLACES:
        pushes, run = result.pushes.head(MOST_ROWS), ""
        if place == "body" and len(pushes) > MOST_BODY_ROWS:
            run = _fastest(result)
            pushes = pushes[pushes["run"] == run]
        headings, rows = push_table(pushes, amounts, place)
        if rows:
            tables.append((amounts.say(f"pushes.of.{place}"), run, headings, rows))
    return {"push_tables": tables, "pushes_in_all": len(result.pushes)}


def _fastest(result: SessionResult) -> str:
    """Return the fastest run by its gates among those that count, else the first that counts, else the first with pushes."""
    table = result.runs_table
    held = table[table["run"].isin(set(result.pushes["run"]))]
    held = held[held["usable"].astype(bool)] if held["usable"].any() else held
    return str(held.sort_values("gate_time_s", kind="stable", na_position="last")["run"].iloc[0])
