"""What every picture of a page is made of: a table, a drawing of that table, and its words."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.report.amounts import MISSING, Amounts
from imustride.report.comparison import name_of
from imustride.report.drawing import FEET
from imustride.report.measures import shown_unit

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure

    from imustride.report.amounts import System
    from imustride.report.catalogue import Catalogue
    from imustride.results import RunResult, SessionResult

MOST_PANELS = 8  # runs in a picture; the tables hold the rest


@dataclass(frozen=True, slots=True)
class Words:
    """The title of a picture, what it shows for those who cannot see it, its caption, and how to read it in full."""

    title: str
    says: str
    caption: str
    reading: str


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture of a session (no run given: as on the page) or of one of its runs.

    Parameters
    ----------
    name : str
        For files and identifiers.
    table : function of (result, run)
        The numbers that are drawn, in the units their names say; empty where there is nothing to draw.
    draw : function of (result, run, texts, units)
        The figure; only where the table is not empty.
    words : function of (result, run, amounts)
    printed : bool
        Whether it is on the printed page.
    tracked : bool
        Whether it needs tracks of the blades.
    takes_both : bool
        Whether it needs both skates on one clock.
    goes_without_saying : bool
        Whether nobody misses it where there is nothing to draw.
    """

    name: str
    table: Callable[[SessionResult, RunResult | None], pd.DataFrame]
    draw: Callable[[SessionResult, RunResult | None, Catalogue, System], Figure]
    words: Callable[[SessionResult, RunResult | None, Amounts], Words]
    printed: bool = False
    tracked: bool = False
    takes_both: bool = False
    goes_without_saying: bool = False


def runs_shown(result: SessionResult, run: RunResult | None, *, counting: bool) -> list[RunResult]:
    """Return the runs of a picture: the one asked for; or those with pushes, only the counting ones if any counts."""
    if run is not None:
        return [run]
    held = [one for one in result.runs if len(one.pushes)]
    usable = [one for one in held if one.usable]
    return (usable if counting and usable else held)[:MOST_PANELS]


def run_title(run: RunResult, say: Catalogue) -> str:
    """Return the name of a run, and whether it counts."""
    return run.name if run.usable else say("pictures.left_out", run=run.name)


def unjoined(pushes: pd.DataFrame) -> bool:
    """Whether times of the two feet must not be compared."""
    return bool(pushes["flags"].str.contains("clocks_not_synchronised").any())


def drawn_rows(table: pd.DataFrame, most: int) -> pd.DataFrame:
    """Return the first rows of every run and foot: what a picture can show; the table holds the rest."""
    by = [name for name in ("run", "side") if name in table]
    return table.groupby(by, sort=False).head(most)


def counts(runs: Sequence[RunResult], say: Catalogue) -> str:
    """Say how many pushes of either foot the runs have."""
    said = []
    for run in runs:
        sides = run.pushes["side"][run.pushes["push"] > 0]
        left, right = (int((sides == side).sum()) for side in FEET)
        said.append(say("pictures.counts", run=run_title(run, say), left=left, right=right))
    return say("list.semicolon").join(said)


def localise(axes: Axes, amounts: Amounts) -> None:
    """Write the numbers of both axes with the reader's decimal sign."""
    for axis in (axes.xaxis, axes.yaxis):
        _localise(axis, amounts)


def _localise(axis: Axis, amounts: Amounts) -> None:
    from matplotlib.ticker import FuncFormatter

    def written(value: float, _: object) -> str:
        text = f"{round(value, 9):g}".replace(".", amounts.say.decimal)
        return text.replace("-", "\N{MINUS SIGN}")

    axis.set_major_formatter(FuncFormatter(written))


def scaled(values: Any, of: str, amounts: Amounts) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Return numbers of the tables in the unit of the reader."""
    return np.asarray(values, dtype=float) * amounts.shown(of).per_unit


def axis_name(key: str, of: str, amounts: Amounts) -> str:
    """Return the name of an axis with its unit."""
    unit = amounts.unit(of)
    return amounts.say(key) + (f" [{unit}]" if unit else "")


def page_table(table: pd.DataFrame, amounts: Amounts) -> tuple[list[str], list[list[str]]]:
    """Return headings and rows of a picture's numbers, a value with its spread (``_sd``) in one cell.

    Parameters
    ----------
    table : DataFrame
        As `Picture.table` returns it.
    amounts : Amounts
    """
    columns = [str(name) for name in table.columns]
    kept = [name for name in columns if not name.endswith("_sd")]
    headings = [_heading(name, amounts) for name in kept]
    rows = [[_cell(row, name, amounts) for name in kept] for row in table.to_dict("records")]
    return headings, rows


def _heading(name: str, amounts: Amounts) -> str:
    say = amounts.say
    key = f"pictures.column.{name}"
    title = say(key if key in say else f"pushes.{name}")
    unit = amounts.unit(shown_unit(name))
    return f"{title} [{unit}]" if unit else title


def _cell(row: dict[Any, Any], name: str, amounts: Amounts) -> str:
    value, say = row[name], amounts.say
    if name == "side":
        return FEET[value].letter
    if name == "metric":
        return name_of(value, say)
    if isinstance(value, str):
        key = f"{name}.{value}"
        return say(key) if key in say else value
    if isinstance(value, (int, np.integer)):
        return str(value)
    if name.endswith("_multiple"):  # as fine as its interval
        return amounts.number(float(value), "", (row["high_multiple"] - row["low_multiple"]) / 2)
    sd = float(row.get(f"{name}_sd", math.nan))
    text = amounts.number(float(value), shown_unit(name), sd)
    spread = amounts.number(sd, shown_unit(name), sd)
    return text if MISSING in (text, spread) else f"{text} ±{spread}"
