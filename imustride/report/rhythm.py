"""The rhythm of a run: both blades' contacts along time, where they glide, and when both or none are on the ice."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.report.amounts import Amounts
from imustride.report.drawing import FEET, GREY, INK, bare, key, panels
from imustride.report.picture import (
    Picture,
    Words,
    axis_name,
    counts,
    localise,
    run_title,
    runs_shown,
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

MOST_RUNS = 4  # what a sheet of paper has room for; the table holds the rest
LONGEST_S = 20.0  # what a page's width can show; the tables hold the rest
STANDS_S = 0.5  # drawn of the stance before the first lift
LANES = {"left": 1.0, "right": 0.0}
PUSHES, UNKNOWN, GLIDES, BOTH = 9.5, 5.5, 2.2, 6.5  # thickness of a bar [points]


def table(result: SessionResult, run: RunResult | None) -> pd.DataFrame:
    """Return when each blade landed, began to push and left the ice, from the first lift [s]."""
    import pandas as pd

    return pd.concat(
        [_times(one) for one in runs_shown(result, run, counting=False)] or [pd.DataFrame()],
        ignore_index=True,
    )


def _times(run: RunResult) -> pd.DataFrame:
    import pandas as pd

    pushes = run.pushes
    off = pushes["blade_off_s"].astype(float)
    zero = off.groupby(pushes["side"]).transform("min") if unjoined(pushes) else off.min()
    on = pushes["blade_on_s"].astype(float) - zero
    share = _column(pushes, "glide_share_ratio")
    return pd.DataFrame(
        {
            "run": run.name,
            "side": pushes["side"],
            "push": pushes["push"].astype(int),
            "lands_s": on,
            "begins_to_push_s": on + share * (off - zero - on),
            "leaves_s": off - zero,
            "double_support_s": _column(pushes, "double_support_s"),
        }
    )


def _column(pushes: pd.DataFrame, name: str) -> pd.Series[float]:
    import pandas as pd

    return pushes[name].astype(float) if name in pushes else pd.Series(np.nan, pushes.index)


def drawn_runs(result: SessionResult, run: RunResult | None) -> list[RunResult]:
    """Return the runs that are drawn, in their order: those that count before those that do not."""
    runs = runs_shown(result, run, counting=False)
    first = sorted(runs, key=lambda one: not one.usable)[:MOST_RUNS]
    return [one for one in runs if one in first]


def draw(result: SessionResult, run: RunResult | None, texts: Catalogue, units: System) -> Figure:
    """Draw a run below the other, all from the same moment and to the same scale."""
    amounts, runs, times = Amounts(texts, units), drawn_runs(result, run), table(result, run)
    times = times[times["run"].isin([one.name for one in runs])]
    alone = len(runs) == 1
    with panels("rhythm", len(runs), 0.85 if alone else 0.43, below_in=0.72) as (drawn, places):
        for axes, one in zip(places, runs, strict=True):
            mine = times[(times["run"] == one.name) & (times["leaves_s"] <= LONGEST_S)]
            _gates(axes, one)
            _together(axes, mine)
            for side in FEET:
                here = mine[mine["side"] == side]
                _bars(axes, side, here)
                if alone:
                    _name(axes, side, here)
                if here.empty:
                    axes.text(0.4, LANES[side], texts("pictures.rhythm.missing"), va="center")
            axes.set_title(run_title(one, texts), loc="left", fontsize=9)
            axes.set_ylim(*((-0.6, 1.6) if alone else (-0.35, 1.35)))
            axes.tick_params(axis="y", length=0)
            bare(axes, "left", *([] if axes is places[-1] else ["bottom"]))
        places[-1].set_xlim(-STANDS_S, min(1.01 * float(times["leaves_s"].max()) + 0.05, LONGEST_S))
        places[-1].set_xlabel(axis_name("pictures.rhythm.time", "s", amounts))
        localise(places[-1], amounts)
        key(drawn, _key(times, texts))
        for axes in places:
            axes.set_yticks(list(LANES.values()), [FEET[side].letter for side in LANES], fontweight="bold")
    return drawn


def _key(times: pd.DataFrame, texts: Catalogue) -> list[tuple[str, dict[str, Any]]]:
    """Return the words and looks of what is in the picture."""
    told, both = times["begins_to_push_s"].notna(), times["double_support_s"]
    rim = {"marker": "s", "linestyle": "none", "color": INK, "fillstyle": "none", "markersize": BOTH - 1}
    looks: list[tuple[str, bool, dict[str, Any]]] = [
        ("glides", bool(told.any()), {"linewidth": GLIDES, "color": INK}),
        ("pushes", bool(told.any()), {"linewidth": PUSHES, "color": INK}),
        ("unknown" if told.any() else "contact", not told.all(), {"linewidth": UNKNOWN, "color": INK}),
        ("together", bool((both > 0).any()), {"linewidth": BOTH, "color": GREY}),
        ("neither", bool((both < 0).any()), rim),
    ]
    return [(texts(f"pictures.rhythm.{name}"), look) for name, there, look in looks if there]


def _bars(axes: Axes, side: str, mine: pd.DataFrame) -> None:
    """Draw the contacts of a foot: thin while it glides, thick while it pushes, between where nobody can tell."""
    foot, lane = FEET[side], LANES[side]
    on, change, off = (
        mine[name].to_numpy(dtype=float) for name in ("lands_s", "begins_to_push_s", "leaves_s")
    )
    on = np.where(np.isfinite(on), on, np.maximum(off - STANDS_S, -STANDS_S))
    told = np.isfinite(change)
    for begin, end, height, which in (
        (on, change, GLIDES, told),
        (change, off, PUSHES, told),
        (on, off, UNKNOWN, ~told),
    ):
        _spans(axes, lane, begin[which], end[which], color=foot.colour, linewidth=height)
    axes.plot(off, np.full(len(off), lane), linestyle="none", marker=foot.marker, markersize=4.5, color=INK)


def _name(axes: Axes, side: str, mine: pd.DataFrame) -> None:
    """Write the name of the push beside the mark where the blade leaves."""
    above = side == "left"
    for off, push in zip(mine["leaves_s"].to_numpy(dtype=float), mine["push"], strict=True):
        if np.isfinite(off):
            place, aside = (float(off), LANES[side]), (0, 6 if above else -6)
            written = axes.annotate(f"{FEET[side].letter}{push}", place, aside, textcoords="offset points")
            written.set(ha="center", va="bottom" if above else "top")


def _together(axes: Axes, times: pd.DataFrame) -> None:
    """Mark between the lanes where both blades are on the ice (filled) or none is (hollow)."""
    off, both = (times[name].to_numpy(dtype=float) for name in ("leaves_s", "double_support_s"))
    _spans(axes, 0.5, (off - both)[both > 0], off[both > 0], color=GREY, linewidth=BOTH)
    _spans(axes, 0.5, off[both < 0], (off - both)[both < 0], color=INK, linewidth=BOTH)
    hair = 0.008  # of the hollow's rim [s]
    _spans(
        axes, 0.5, off[both < 0] + hair, (off - both)[both < 0] - hair, color="white", linewidth=BOTH - 1.6
    )


def _spans(
    axes: Axes, height: float, begin: NDArray[np.float64], end: NDArray[np.float64], **look: Any
) -> None:
    """Draw spans of time as one broken line."""
    times = np.column_stack([begin, np.maximum(begin, end), np.full(len(begin), np.nan)]).ravel()
    axes.plot(times, np.full(len(times), height), solid_capstyle="butt", **look)


def _gates(axes: Axes, run: RunResult) -> None:
    """Mark when the body passed the gates, where the clocks let that be known."""
    if run.body is None or not len(run.body.gate_s) or unjoined(run.pushes):
        return
    zero = float(run.pushes["blade_off_s"].min())
    for at in run.body.gate_s:
        axes.axvline(float(at) - zero, color=INK, linewidth=1.0, linestyle=":", zorder=0)


def words(result: SessionResult, run: RunResult | None, amounts: Amounts) -> Words:
    """Return the title, the text alternative, the caption and how to read it."""
    say, runs = amounts.say, runs_shown(result, run, counting=False)
    caption, reading = [say("pictures.rhythm.caption")], [say("pictures.rhythm.reading")]
    if table(result, run)["begins_to_push_s"].notna().any():
        reading.append(say("pictures.rhythm.glide"))
    if any(unjoined(one.pushes) for one in runs):
        caption.append(say("pictures.rhythm.unjoined"))
    elif any(one.body is not None and len(one.body.gate_s) for one in runs):
        reading.append(say("pictures.rhythm.gates"))
    if len(drawn_runs(result, run)) < len(runs):
        caption.append(say("pictures.rhythm.some", shown=MOST_RUNS, all=len(runs)))
    says = say("pictures.rhythm.says", counts=counts(runs, say))
    title = say(f"pictures.rhythm.title{'_one' if len(runs) == 1 else ''}")
    return Words(title, says, " ".join(caption), " ".join(reading))


PICTURE = Picture("rhythm", table, draw, words, printed=True)
