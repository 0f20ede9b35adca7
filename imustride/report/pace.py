"""Length per push against pushes per second along a run, with curves of equal speed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from imustride.report.amounts import Amounts
from imustride.report.drawing import FEET, GREY, INK, panels
from imustride.report.picture import (
    Picture,
    Words,
    axis_name,
    drawn_rows,
    localise,
    run_title,
    runs_shown,
    scaled,
    unjoined,
)

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from imustride.report.amounts import System
    from imustride.report.catalogue import Catalogue
    from imustride.results import RunResult, SessionResult

HEIGHT_IN = 2.7
MOST_CURVES = 7
MOST_PUSHES = 40  # of a foot and run; the table holds the rest


def table(result: SessionResult, run: RunResult | None) -> pd.DataFrame:
    """Return pushes per second, length per push and speed from each landing to the next of the same foot.

    Over two pushes, one of each foot: which of the two gets further is mostly assumed by the tracks, their sum is
    measured.
    """
    import pandas as pd

    found = [_pace(one) for one in runs_shown(result, run, counting=True)]
    return pd.concat(found or [pd.DataFrame()], ignore_index=True)


def _pace(run: RunResult) -> pd.DataFrame:
    import pandas as pd

    apart = unjoined(run.pushes)
    pushes = run.pushes.sort_values(["side"] * apart + ["blade_off_s"], kind="stable")
    if "stride_length_m" not in pushes or "stride_time_s" not in pushes:
        return pd.DataFrame()
    length, time = pushes["stride_length_m"].astype(float), pushes["stride_time_s"].astype(float)
    spread = pushes["stride_length_m_sd"].astype(float) if "stride_length_m_sd" in pushes else np.nan * length
    both = pd.DataFrame(
        {
            "run": run.name,
            "side": pushes["side"],
            "push": pushes["push"].astype(int),
            "pushes_per_second_hz": 2 / time,
            "length_per_push_m": length / 2,
            "length_per_push_m_sd": spread / 2,
            "speed_m_s": length / time,
            "speed_m_s_sd": spread / time,
        }
    )
    # Behind the last push of all the other foot pushes no more; behind the last gate nobody runs for the time.
    last = ~pushes["side"].duplicated(keep="last") if apart else np.arange(len(pushes)) == len(pushes) - 1
    within = ~pushes["flags"].str.contains("after_finish") & ~last
    known = np.isfinite(both["length_per_push_m"]) & np.isfinite(both["pushes_per_second_hz"])
    kept: pd.DataFrame = both[known & within]
    return kept


def shown_run(times: pd.DataFrame, result: SessionResult) -> str:
    """Return the run that is drawn in full: the fastest by its gates, else the first."""
    names = list(dict.fromkeys(times["run"]))
    table = result.runs_table
    gate_s = dict(zip(table["run"], table["gate_time_s"], strict=True))
    timed = [name for name in names if math.isfinite(gate_s.get(name, math.nan))]
    return str(min(timed, key=lambda name: float(gate_s[name])) if timed else names[0])


def draw(result: SessionResult, run: RunResult | None, texts: Catalogue, units: System) -> Figure:
    """Draw one run as a path through its pushes, the others as small rings."""
    amounts, points = Amounts(texts, units), table(result, run)
    points = drawn_rows(points, MOST_PUSHES)
    name = shown_run(points, result)
    rate, length = (
        points["pushes_per_second_hz"].to_numpy(),
        scaled(points["length_per_push_m"], "m", amounts),
    )
    mine = (points["run"] == name).to_numpy()
    with panels("pace", 1, HEIGHT_IN) as (drawn, (axes,)):
        reach_x, reach_y = _reach(rate, 0.3), _reach(length, 0.25)
        axes.set_xlim(*reach_x)
        axes.set_ylim(*reach_y)
        _curves(axes, amounts)
        for run_name, which in _lines(points, result):
            colour, width = (INK, 1.6) if run_name == name else (GREY, 0.8)
            axes.plot(neighbours(rate[which]), neighbours(length[which]), color=colour, linewidth=width)
            if run_name == name:
                _ends(axes, points[which], rate[which], length[which])
        _marks(axes, points[mine], rate[mine], length[mine])
        _known(axes, scaled(points["length_per_push_m_sd"][mine], "m", amounts), texts("pictures.pace.known"))
        axes.set_xlabel(axis_name("pictures.pace.rate", "Hz", amounts))
        axes.set_title(axis_name("pictures.pace.length", "m", amounts), loc="left", fontsize=9)
        localise(axes, amounts)
    return drawn


def neighbours(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Even out values: each counts twice, the one before and the one behind it once.

    Neighbouring points share a push, and an error of one landing makes one of them too long and the other too short.
    """
    weights = np.array([1.0, 2.0, 1.0]) if len(values) > 2 else np.ones(1)
    return np.asarray(
        np.convolve(values, weights, "same") / np.convolve(np.ones(len(values)), weights, "same")
    )


def _reach(values: NDArray[np.float64], least: float) -> tuple[float, float]:
    low, high = float(values.min()), float(values.max())
    more = max(0.12 * (high - low), (least - (high - low)) / 2, 0.08)
    return max(low - more, 0.0), high + more


def _lines(points: pd.DataFrame, result: SessionResult) -> list[tuple[str, NDArray[np.bool_]]]:
    """Return run by run which points hang together: all; those of a foot where the clocks are not joined."""
    apart = {run.name for run in result.runs if unjoined(run.pushes)}
    keys = [
        (run, side if run in apart else "") for run, side in zip(points["run"], points["side"], strict=True)
    ]
    return [(key[0], np.array([other == key for other in keys])) for key in dict.fromkeys(keys)]


def _marks(axes: Axes, points: pd.DataFrame, rate: NDArray[np.float64], length: NDArray[np.float64]) -> None:
    """Draw the pushes of a run."""
    sides = points["side"].to_numpy()
    for side, foot in FEET.items():
        which = sides == side
        axes.plot(
            rate[which],
            length[which],
            linestyle="none",
            marker=foot.marker,
            markersize=6,
            color=foot.colour,
            markeredgecolor="white",
            markeredgewidth=0.6,
        )


def _ends(axes: Axes, points: pd.DataFrame, rate: NDArray[np.float64], length: NDArray[np.float64]) -> None:
    """Name the first and the last push of a line."""
    for place in sorted({0, len(points) - 1}):
        row = points.iloc[place]
        name, at = f"{FEET[row['side']].letter}{row['push']}", (rate[place], length[place])
        axes.annotate(name, at, (6, -3), textcoords="offset points", fontweight="bold")


def _curves(axes: Axes, amounts: Amounts) -> None:
    """Draw curves of equal speed, in round steps of the unit shown, each named where it leaves the picture."""
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    per = amounts.shown("m/s").per_unit / amounts.shown("m").per_unit  # speed shown of length shown a second
    slowest, fastest = left * bottom * per, right * top * per
    step = next((s for s in (0.5, 1, 2, 5) if (fastest - slowest) / s <= MOST_CURVES), 10)
    rate = np.linspace(left, right, 60)
    for speed in np.arange(math.ceil(slowest / step + 0.2) * step, fastest, step):
        along = speed / per / rate
        inside = (along >= bottom) & (along <= top)
        if inside.sum() < 8 or rate[inside][-1] < left + 0.3 * (right - left):
            continue
        axes.plot(rate[inside], along[inside], color=GREY, linewidth=0.6, linestyle=(0, (4, 2)), zorder=0)
        text = amounts.with_unit(f"{speed:g}".replace(".", amounts.say.decimal), "m/s")
        end = (rate[inside][-1], along[inside][-1])
        written = axes.annotate(text, end, (-1, 3), textcoords="offset points", ha="right", va="bottom")
        written.set(color="#555555", bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.5})


def _known(axes: Axes, spread: NDArray[np.float64], name: str) -> None:
    """Show in the corner how well the length of one point is known."""
    if not np.isfinite(spread).any():
        return
    half = float(np.nanmedian(spread))
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    x, y = left + 0.05 * (right - left), bottom + 0.05 * (top - bottom) + half
    axes.errorbar(x, y, yerr=half, color=INK, capsize=3, linewidth=1.2)
    axes.annotate(name, (x, y), (6, 0), textcoords="offset points", ha="left", va="center")


def words(result: SessionResult, run: RunResult | None, amounts: Amounts) -> Words:
    """Return the title, the text alternative, the caption and how to read it."""
    say, points = amounts.say, table(result, run)
    name = shown_run(points, result)
    mine = points[points["run"] == name]
    first, last = (
        {
            "length": amounts.amount(row["length_per_push_m"], "m", row["length_per_push_m_sd"]),
            "rate": amounts.number(row["pushes_per_second_hz"], "Hz", 0.05),
        }
        for row in (mine.iloc[0], mine.iloc[-1])
    )
    title = run_title(next(one for one in result.runs if one.name == name), say)
    says = say(
        "pictures.pace.says",
        run=title,
        n=len(mine),
        **{f"first_{key}": value for key, value in first.items()},
        **{f"last_{key}": value for key, value in last.items()},
    )
    others = [say("pictures.pace.others")] if len(points) > len(mine) else []
    reading = " ".join([say("pictures.pace.reading"), *others])
    return Words(say("pictures.pace.title"), says, say("pictures.pace.caption", run=title), reading)


PICTURE = Picture("pace", table, draw, words, tracked=True)
