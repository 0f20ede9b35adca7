"""The pictures of the summary page, each from a table it is given."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.report.drawing import FEET, INK, PALE, bare, inline_svg, panels
from imustride.report.words import label

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from matplotlib.axes import Axes

LONGEST_RHYTHM_S = 30.0  # what a page's width can show; the tables hold the rest
MOST_PUSHES = 60  # in one panel, likewise
ANGULAR_VELOCITY = "push_off_angular_velocity_deg_s"


def rhythm(runs: Mapping[str, pd.DataFrame]) -> str:
    """Draw when each blade was on the ice.

    Parameters
    ----------
    runs : mapping of str to DataFrame
        Rows of ``pushes.csv`` by the title of their panel.

    Returns
    -------
    str
        An ``svg`` element.
    """
    with panels("rhythm", len(runs), 0.42) as (drawn, places):
        for axes, (title, pushes) in zip(places, runs.items(), strict=True):
            _contacts(axes, pushes)
            axes.set_title(title, loc="left", fontsize=9)
            axes.set_yticks([1, 0], [foot.letter for foot in FEET.values()])
            axes.set_ylim(-0.6, 1.6)
            bare(axes, "left", *([] if axes is places[-1] else ["bottom"]))
        places[-1].set_xlabel("time since the first blade left the ice [s]")
        return inline_svg(drawn, "rhythm")


def _contacts(axes: Axes, pushes: pd.DataFrame) -> None:
    joined = not pushes["flags"].str.contains("clocks_not_synchronised").any()
    for height, (side, foot) in zip((1, 0), FEET.items(), strict=True):
        mine = pushes[pushes["side"] == side]
        zero = (pushes if joined else mine)["blade_off_s"].min()
        on = mine["blade_on_s"].to_numpy(dtype=float) - zero
        off = mine["blade_off_s"].to_numpy(dtype=float) - zero
        standing = mine["flags"].str.contains("standing_start").to_numpy()
        on = np.where(standing & ~np.isfinite(on), off - 0.5, on)
        shown = off <= LONGEST_RHYTHM_S
        gap = np.full(len(on), np.nan)
        times = np.column_stack([on, off, gap])[shown].ravel()
        axes.plot(times, np.full(len(times), height), color=foot.colour, linewidth=9, solid_capstyle="butt")


def course(runs: Mapping[str, pd.DataFrame], metric: str = ANGULAR_VELOCITY, unit: str = "°/s") -> str:
    """Draw a metric push by push, both feet in the order of their pushes.

    Parameters
    ----------
    runs : mapping of str to DataFrame
        Rows of ``pushes.csv`` by the title of their panel.
    metric : str
        Column to draw.
    unit : str
        Unit on the axis.

    Returns
    -------
    str
        An ``svg`` element.
    """
    with panels("course", len(runs), 0.85) as (drawn, places):
        for axes, (title, pushes) in zip(places, runs.items(), strict=True):
            if axes is not places[0]:
                axes.sharey(places[0])
            counted = pushes[pushes["push"] > 0].sort_values("blade_off_s").head(MOST_PUSHES)
            order = np.arange(1, len(counted) + 1)
            for side, foot in FEET.items():
                mine = (counted["side"] == side).to_numpy()
                values = counted[metric].to_numpy(dtype=float)[mine]
                look: dict[str, Any] = {"color": foot.colour, "marker": foot.marker, "linestyle": foot.dash}
                axes.plot(
                    order[mine], values, **look, markersize=4, linewidth=1, label=f"{foot.letter} {side}"
                )
            axes.set_title(title, loc="left", fontsize=9)
            axes.set_ylabel(unit)
            axes.locator_params(axis="x", integer=True)
        places[0].legend(loc="lower right", bbox_to_anchor=(1, 1), ncols=2, frameon=False, borderaxespad=0.2)
        places[-1].set_xlabel("push in the run, both feet in turn")
        return inline_svg(drawn, "course")


def intervals(symmetry: pd.DataFrame) -> str:
    """Draw the symmetry index of every row that has one, with its 95 % interval.

    Parameters
    ----------
    symmetry : DataFrame
        Rows of ``symmetry.csv`` with a symmetry index.

    Returns
    -------
    str
        An ``svg`` element.
    """
    with panels("intervals", 1, 0.5 * len(symmetry)) as (drawn, (axes,)):
        for height, row in zip(range(len(symmetry))[::-1], symmetry.to_dict("records"), strict=True):
            _interval_row(axes, height, row)
        reach = symmetry[["ci_low_percent", "ci_high_percent", "smallest_difference"]].to_numpy(dtype=float)
        axes.set_xlim(-1.1 * np.nanmax(np.abs(reach)), 1.1 * np.nanmax(np.abs(reach)))
        axes.set_ylim(-0.4, len(symmetry) - 0.4)
        axes.set_yticks([])
        bare(axes, "left")
        axes.set_xlabel("symmetry index [%]")
        for where, words in ((0, "L larger"), (1, "R larger")):
            written = axes.annotate(words, (where, 0), (0, -20), "axes fraction", "offset points")
            written.set(ha="right" if where else "left", va="top", fontweight="bold")
        return inline_svg(drawn, "intervals")


def _interval_row(axes: Axes, height: int, row: Mapping[Any, Any]) -> None:
    smallest = row["smallest_difference"]
    if np.isfinite(smallest):
        axes.fill_between([-smallest, smallest], height - 0.3, height + 0.18, color=PALE, linewidth=0)
    ends = [row["ci_low_percent"], row["ci_high_percent"]]
    axes.plot([0, 0], [height - 0.3, height + 0.18], color=INK, linewidth=0.8)
    axes.plot(ends, [height - 0.06] * 2, color=INK, linewidth=1.6)
    axes.plot(row["symmetry_index_percent"], height - 0.06, color=INK, marker="D", markersize=5)
    across = axes.get_yaxis_transform()
    axes.text(0, height + 0.28, f"{label(row['metric'])}, {row['phase']}", transform=across)
    counts = f"n {int(row['n_left'])} L, {int(row['n_right'])} R"
    axes.text(1, height + 0.28, counts, transform=across, ha="right")
