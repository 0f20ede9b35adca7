"""The pictures of a session's page: what there is to draw, with its words and its numbers."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.report.rows import compared, headlines, symmetry_rows

if TYPE_CHECKING:
    import pandas as pd

    from imustride.results import SessionResult

MOST_PANELS = 8  # runs in a picture; the tables hold the rest
PRINTED = ("When each blade was on the ice", "Left and right compared")  # what a printed page has room for
Table = tuple[list[str], list[list[str]]]  # headings and rows


def gallery(result: SessionResult) -> list[dict[str, Any]]:
    """Draw what there is to draw, with a title, a caption and the same in words for those who cannot see it."""
    from markupsafe import Markup

    from imustride.report.pictures import ANGULAR_VELOCITY, course, intervals, rhythm

    runs = {run.name if run.usable else f"{run.name} (left out)": run.pushes for run in result.runs}
    runs = dict([(title, pushes) for title, pushes in runs.items() if len(pushes)][:MOST_PANELS])
    turning = {title: pushes for title, pushes in runs.items() if pushes[ANGULAR_VELOCITY].notna().any()}
    indexed = compared(headlines(result.symmetry))
    indexed = indexed[
        indexed["ci_low_percent"].map(math.isfinite) & indexed["ci_high_percent"].map(math.isfinite)
    ]
    drawn: list[tuple[str, str, tuple[str, str], Table | None]] = []
    if runs:
        drawn.append(("When each blade was on the ice", rhythm(runs), _rhythm_words(runs), None))
    drawn += _from_above(result)
    if turning:
        drawn.append(
            ("Push-off angular velocity, push by push", course(turning), _course_words(turning), None)
        )
    if len(indexed):
        drawn.append(("Left and right compared", intervals(indexed), _interval_words(indexed), None))
    return [
        {
            "title": title,
            "svg": Markup(svg),  # noqa: S704 - our own drawing
            "says": says,
            "caption": caption,
            "table": table,
            "printed": title in PRINTED,
        }
        for title, svg, (says, caption), table in drawn
    ]


def _from_above(result: SessionResult) -> list[tuple[str, str, tuple[str, str], Table | None]]:
    """Draw one run from above; nothing where no run has a path."""
    from imustride.report.above import NO_GATES, NOT_PLACED, above_words, from_above, place_table
    from imustride.report.tracks import drawn_run, tracks

    times_s = dict(zip(result.runs_table["run"], result.runs_table["gate_time_s"], strict=True))
    found = drawn_run(result.runs, times_s)
    if found is None:
        return []
    run, why = found
    gate_m = np.zeros(0) if run.body is None else run.body.gate_m
    without = NO_GATES if run.gates is None else NOT_PLACED
    shown = tracks(run.paths, run.clocks, run.pushes, gate_m)
    words = above_words(f"{run.name}, {why}", shown, gate_m, run.pushes, without)
    picture = from_above(shown, gate_m, without)
    return [(f"{run.name} seen from above", picture, words, place_table(shown, run.pushes))]


def _counts(runs: dict[str, pd.DataFrame]) -> str:
    counts = {
        title: [int(((pushes["side"] == side) & (pushes["push"] > 0)).sum()) for side in ("left", "right")]
        for title, pushes in runs.items()
    }
    return "; ".join(f"{title}: {left} pushes left, {right} right" for title, (left, right) in counts.items())


def _rhythm_words(runs: dict[str, pd.DataFrame]) -> tuple[str, str]:
    says = f"Contacts of both blades along time. {_counts(runs)}."
    caption = (
        "A bar: that blade is on the ice. Where bars of L and R overlap, both are; where neither is, the athlete "
        "is in the air. The first bars begin in the stance. The final glide is no push and is not drawn."
    )
    unjoined = any(pushes["flags"].str.contains("clocks_not_synchronised").any() for pushes in runs.values())
    return says, caption + (
        " Where the sensors' clocks could not be joined, each foot is drawn from its own first lift: "
        "L and R must then not be compared."
        if unjoined
        else ""
    )


def _course_words(runs: dict[str, pd.DataFrame]) -> tuple[str, str]:
    says = f"Push-off angular velocity of every push, left as discs, right as squares. {_counts(runs)}."
    caption = (
        "How fast the skate turns toe-down as the blade leaves the ice: L discs and solid line, R squares and "
        "dashed line. One mark is one push; how far single pushes scatter is part of the result."
    )
    return says, caption


def _interval_words(symmetry: pd.DataFrame) -> tuple[str, str]:
    rows = symmetry_rows(symmetry)
    says = "Symmetry index with its interval. " + "; ".join(
        f"{row['what']}: {row['against']} ({row['interval']})" for row in rows
    )
    caption = (
        "Diamond: the index. Line: its 95 % interval. Grey: differences too small to be called one "
        f"({'; '.join(sorted(set(symmetry['smallest_difference_source'])))}). A line that reaches into and out of "
        "the grey leaves the question open."
    )
    return says, caption
