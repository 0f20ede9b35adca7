"""Left against right: every measure on one axis, with its interval and the band of "the same"."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.report.amounts import Amounts
from imustride.report.comparison import difference_unit, half_width, name_of
from imustride.report.drawing import FEET, GREY, INK, LEFT_IN, PALE, RIGHT_IN, WIDTH_IN, bare, key, panels
from imustride.report.picture import Picture, Words, localise
from imustride.report.rows import compared
from imustride.report.smallest import convention

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from imustride.report.amounts import System
    from imustride.report.catalogue import Catalogue
    from imustride.report.measures import Place
    from imustride.results import RunResult, SessionResult

ROW_IN, NAME_IN = 0.12, 0.15  # of a phase; of a measure's name above its phases
VALUES_IN = 0.75  # at the right, for the differences in their own units
ROOM_IN = WIDTH_IN - LEFT_IN - RIGHT_IN - VALUES_IN
LEAST_REACH, MOST_REACH = 2.0, 5.0  # of the axis; what reaches further ends in an arrow
PHASES = {"acceleration": "1\N{EN DASH}6", "later": "7+"}
NAMES: dict[Place, str] = {"skates": "sides", "body": "sides-body"}
VERDICTS = {"left larger": "left", "right larger": "right"}

LINE: dict[str, Any] = {"color": INK, "linewidth": 1.5}
KEY: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("left larger", "pictures.sides.left", {"color": FEET["left"].colour, "marker": "o", "markersize": 6}),
    ("right larger", "pictures.sides.right", {"color": FEET["right"].colour, "marker": "s", "markersize": 6}),
    ("alike", "pictures.sides.same", {**LINE, "marker": "D", "markersize": 4.5}),
    ("unclear", "pictures.sides.open", {**LINE, "marker": "o", "markersize": 5, "markerfacecolor": "white"}),
)


def table(result: SessionResult, run: RunResult | None, place: Place = "skates") -> pd.DataFrame:
    """Return every difference and its 95 % interval in multiples of the smallest one that counts.

    Nothing for a single run of a session: left and right are compared over all runs that count. Of the body nothing
    where skates alone had sensors.
    """
    worn = any(not sensor.place.endswith("_skate") for sensor in result.session.sensors)
    rows = compared(result.symmetry, (place,) if worn or place == "skates" else ())
    index = rows["symmetry_index_percent"].notna()
    found = rows[["metric", "phase"]].copy()
    for name, percent, own in (
        ("difference_multiple", "symmetry_index_percent", "difference"),
        ("low_multiple", "ci_low_percent", "difference_ci_low"),
        ("high_multiple", "ci_high_percent", "difference_ci_high"),
    ):
        found[name] = rows[percent].where(index, rows[own]) / rows["smallest_difference"]
    found["verdict"] = rows["verdict"]
    found["n_left"], found["n_right"], found["n_runs"] = rows["n_left"], rows["n_right"], rows["n_runs"]
    drawn = found["low_multiple"].notna() & found["high_multiple"].notna() & (run is None)
    return found[drawn].reset_index(drop=True)


def _whole(result: SessionResult) -> dict[tuple[str, str], dict[Any, Any]]:
    """Return the rows of ``symmetry.csv`` by phase and metric."""
    return {(row["phase"], row["metric"]): row for row in result.symmetry.to_dict("records")}


def _difference(whole: Mapping[Any, Any], amounts: Amounts) -> str:
    """Right minus left with its unit, as fine as its interval."""
    return amounts.amount(float(whole["difference"]), difference_unit(whole), half_width(whole), sign=True)


def draw(
    result: SessionResult, run: RunResult | None, texts: Catalogue, units: System, place: Place = "skates"
) -> Figure:
    """Draw a line per measure and phase, the left larger to the left of zero."""
    amounts, shown = Amounts(texts, units), table(result, run, place)
    metrics = list(dict.fromkeys(shown["metric"]))
    height_in = len(shown) * ROW_IN + len(metrics) * NAME_IN + 0.04
    reach = shown[["low_multiple", "high_multiple"]].abs().to_numpy(dtype=float)
    limit = float(np.clip(1.1 * reach.max(), LEAST_REACH, MOST_REACH))
    with panels("sides", 1, height_in, below_in=0.72) as (drawn, (axes,)):
        y = height_in
        whole = _whole(result)
        for metric in metrics:
            y -= NAME_IN
            _name(axes, name_of(metric, texts), y + 0.02)
            rows = shown[shown["metric"] == metric].to_dict("records")
            _band(axes, y - ROW_IN * len(rows), y)
            for row in rows:
                y -= ROW_IN
                _line(axes, y + ROW_IN / 2, row, limit)
                _said(axes, y + ROW_IN / 2, row, whole[row["phase"], metric], amounts)
        axes.set_xlim(-limit, limit)
        axes.set_ylim(0, height_in)
        _frame(axes, texts)
        localise(axes, amounts)
        axes.set_yticks([])
        said = set(shown["verdict"])
        key(drawn, [(texts(words), look) for verdict, words, look in KEY if verdict in said])
    return drawn


def _band(axes: Axes, low: float, high: float) -> None:
    """Draw the band of the same, and zero, behind the rows of a measure."""
    axes.fill_between([-1, 1], low, high, facecolor=PALE, linewidth=0, zorder=0)
    axes.plot([-1, -1, np.nan, 1, 1], [low, high, np.nan, low, high], color=GREY, linewidth=0.9, zorder=0)
    axes.plot([0, 0], [low, high], color=INK, linewidth=0.8, zorder=0)


def _frame(axes: Axes, texts: Catalogue) -> None:
    """Name the axis, its two ends and the band."""
    box = axes.get_position()
    axes.set_position((box.x0, box.y0, ROOM_IN / WIDTH_IN, box.height))
    bare(axes, "left")
    axes.locator_params(axis="x", integer=True, nbins=7)
    axes.set_xlabel(texts("pictures.sides.axis"))
    for where, side, align in ((0.0, "left", "left"), (1.0, "right", "right")):
        words = texts(f"pictures.sides.{side}")
        written = axes.annotate(words, (where, 1), (0, 4), "axes fraction", "offset points", ha=align)
        written.set(fontweight="bold", color=FEET[side].colour if side == "left" else "#B35200")
    above = ((0, 4), ("data", "axes fraction"), "offset points")
    axes.annotate(texts("pictures.sides.same"), (0, 1), *above, ha="center")
    axes.annotate(
        texts("pictures.sides.number"), (0, 1), (-9, 4), "axes fraction", "offset points", ha="right"
    )
    axes.annotate(
        texts("pictures.sides.minus"),
        (1, 1),
        (72 * VALUES_IN, 4),
        "axes fraction",
        "offset points",
        ha="right",
    )


def _name(axes: Axes, name: str, y: float) -> None:
    written = axes.text(-LEFT_IN / ROOM_IN, y, name, va="bottom")
    written.set_transform(axes.get_yaxis_transform())


def _line(axes: Axes, y: float, row: Mapping[Any, Any], limit: float) -> None:
    """Draw an interval and its middle: a foot's mark where that foot has more, else a bar or a ring."""
    low, high, middle = (float(row[f"{name}_multiple"]) for name in ("low", "high", "difference"))
    side = VERDICTS.get(row["verdict"])
    colour = FEET[side].colour if side else INK
    shown = np.clip([low, high], -limit, limit)
    axes.plot(shown, [y, y], color=colour, linewidth=1.5)
    for end, marker, beyond in ((-limit, "<", low < -limit), (limit, ">", high > limit)):
        if beyond:
            axes.plot(end, y, marker=marker, color=colour, markersize=5, clip_on=False)
    if abs(middle) <= limit:
        axes.plot(middle, y, zorder=3, **next(look for verdict, _, look in KEY if verdict == row["verdict"]))


def _said(axes: Axes, y: float, row: Mapping[Any, Any], whole: Mapping[Any, Any], amounts: Amounts) -> None:
    """Write the phase at the left and the difference with its unit at the right."""
    across = axes.get_yaxis_transform()
    axes.annotate(
        PHASES.get(row["phase"], row["phase"]),
        (0, y),
        (-9, 0),
        across,
        "offset points",
        ha="right",
        va="center",
    )
    text = _difference(whole, amounts)
    axes.annotate(
        text,
        (1, y),
        (VALUES_IN * 72, 0),
        across,
        "offset points",
        ha="right",
        va="center",
        annotation_clip=False,
    )


def words(result: SessionResult, run: RunResult | None, amounts: Amounts, place: Place = "skates") -> Words:
    """Return the title, the text alternative, the caption and how to read it."""
    say, shown = amounts.say, table(result, run, place)
    whole = _whole(result)
    lines = [
        say(
            "pictures.sides.line",
            name=name_of(row["metric"], say),
            phase=say(f"phase.{row['phase']}"),
            difference=_difference(whole[row["phase"], row["metric"]], amounts),
            verdict=say(f"verdict.{row['verdict']}"),
        )
        for row in shown.to_dict("records")
    ]
    says = say("pictures.sides.says", lines=say("list.semicolon").join(lines))
    title = say(f"pictures.{NAMES[place]}.title")
    return Words(
        title,
        says,
        say("pictures.sides.caption"),
        say("pictures.sides.reading", convention=convention(result.symmetry, say)),
    )


PICTURE = Picture(NAMES["skates"], table, draw, words, printed=True, takes_both=True)
BODY = Picture(
    NAMES["body"],
    partial(table, place="body"),
    partial(draw, place="body"),
    partial(words, place="body"),
    takes_both=True,
    goes_without_saying=True,
)
