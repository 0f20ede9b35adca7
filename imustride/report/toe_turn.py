"""Push-off angular velocity push by push, with its spread from run to run and from push to push."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.report.amounts import Amounts
from imustride.report.drawing import FEET, INK, panels
from imustride.report.picture import Picture, Words, axis_name, drawn_rows, localise, runs_shown

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from imustride.report.amounts import System
    from imustride.report.catalogue import Catalogue
    from imustride.results import RunResult, SessionResult

METRIC = "push_off_angular_velocity_deg_s"
ASIDE = {"left": -0.14, "right": 0.14}  # left of the pair first
MOST_PUSHES = 24  # of a foot and run; the table holds the rest


def table(result: SessionResult, run: RunResult | None) -> pd.DataFrame:
    """Return the push-off angular velocity of every push that counts."""
    import pandas as pd

    found = [
        one.pushes[one.pushes["push"] > 0].assign(run=one.name)
        for one in runs_shown(result, run, counting=True)
    ]
    whole = pd.concat(found or [pd.DataFrame(columns=["run", "side", "push", METRIC])], ignore_index=True)
    whole = whole[["run", "side", "push", METRIC]]
    return whole[whole[METRIC].notna()].astype({"push": int, METRIC: float})


def means(values: pd.DataFrame) -> dict[str, tuple[float, float, int]]:
    """Return mean, standard deviation and number of all pushes of each foot [deg/s]."""
    found = {}
    for side in FEET:
        mine = values[METRIC][values["side"] == side].to_numpy(dtype=float)
        if len(mine):
            found[side] = (
                float(mine.mean()),
                float(mine.std(ddof=1)) if len(mine) > 1 else np.nan,
                len(mine),
            )
    return found


def draw(result: SessionResult, run: RunResult | None, texts: Catalogue, units: System) -> Figure:
    """Draw every push as a mark, the mean of the runs as a line, and the whole foot's spread beside them."""
    amounts, values = Amounts(texts, units), drawn_rows(table(result, run), MOST_PUSHES)
    last = int(values["push"].max())
    with panels("turn", 1, 1.9) as (drawn, (axes,)):
        for side in FEET:
            _foot(axes, side, values[values["side"] == side])
        for side, (mean, sd, _) in means(values).items():
            foot, x = FEET[side], last + 1.1 + 2.5 * ASIDE[side]
            look: dict[str, Any] = {"color": foot.colour, "marker": foot.marker, "markersize": 6}
            axes.errorbar(x, mean, yerr=sd if np.isfinite(sd) else None, capsize=3, linewidth=1.6, **look)
            axes.annotate(
                foot.letter, (x, 1), (0, 3), ("data", "axes fraction"), "offset points", ha="center"
            ).set_fontweight("bold")
        axes.axvline(last + 0.5, color=INK, linewidth=0.6)
        axes.set_xlim(0.5, last + 1.75)
        axes.set_title(axis_name("pictures.turn.value", "deg/s", amounts), loc="left", fontsize=9)
        axes.set_xlabel(texts("pictures.turn.push"))
        localise(axes, amounts)
        step = max(1, last // 10)
        axes.set_xticks(
            [*range(1, last + 1, step), last + 1.1],
            [*map(str, range(1, last + 1, step)), texts("pictures.turn.all")],
        )
    return drawn


def _foot(axes: Axes, side: str, mine: pd.DataFrame) -> None:
    foot = FEET[side]
    x = mine["push"].to_numpy(dtype=float) + ASIDE[side]
    axes.plot(
        x,
        mine[METRIC],
        linestyle="none",
        marker=foot.marker,
        markersize=4,
        color=foot.colour,
        fillstyle="none",
        markeredgewidth=0.9,
    )
    by_push = mine.groupby("push")[METRIC].agg(["mean", "min", "max"])
    place = by_push.index.to_numpy(dtype=float) + ASIDE[side]
    axes.vlines(place, by_push["min"], by_push["max"], color=foot.colour, linewidth=0.9)
    axes.plot(place, by_push["mean"], color=foot.colour, linewidth=1.8, linestyle=foot.dash)


def words(result: SessionResult, run: RunResult | None, amounts: Amounts) -> Words:
    """Return the title, the text alternative, the caption and how to read it."""
    say, values = amounts.say, table(result, run)
    feet = say("list.semicolon").join(
        say(
            "pictures.turn.foot",
            letter=FEET[side].letter,
            mean=amounts.number(mean, "deg/s", sd / np.sqrt(n)),
            sd=amounts.amount(sd, "deg/s", sd / np.sqrt(2 * n)),
            n=n,
        )
        for side, (mean, sd, n) in means(values).items()
    )
    several = len(set(values["run"])) > 1
    reading = [say("pictures.turn.reading"), say(f"pictures.turn.{'runs' if several else 'one'}")]
    return Words(
        say("pictures.turn.title"),
        say("pictures.turn.says", feet=feet),
        say("pictures.turn.caption", feet=feet),
        " ".join(reading),
    )


PICTURE = Picture("turn", table, draw, words)
