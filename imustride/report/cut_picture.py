"""The picture of a cut: how much every sensor turned over hours, and what was taken for a run."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from imustride.report.drawing import FEET, GREY, INK, PALE, STYLE, bare

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from imustride.report.catalogue import Catalogue

Kind = Literal["run", "guess", "over", "aside"]

WIDTH_IN, ROW_GAP_IN, BELOW_IN = 10.0, 0.44, 0.22
# A lane is as high as letters are, higher where a row has few of them.
LANE_IN, HIGHEST_LANE_IN, LANES_IN = 0.17, 0.3, 0.9
LEFT_IN, RIGHT_IN = 1.05, 0.1
# A printed page, A4 or Letter across, has so much room for rows.
SHEET_IN = 6.2
# A row holds so much of the evening; a shorter one is drawn as long as it is.
ROW_S = 1200.0
# Steps of the curves in a row: finer than a printer shows.
STEPS = 600
# A line below a run tells what it is: whole for a run, broken for what is not decided, dotted for what is left over.
LOOKS: dict[Kind, tuple[str, str]] = {
    "run": (INK, "-"),
    "guess": (INK, "--"),
    "over": (INK, ":"),
    "aside": (GREY, ":"),
}


@dataclass(frozen=True, eq=False, slots=True)
class Lane:
    """One sensor: its place, when its blocks begin on the picture's clock [s], and how much it turns, 0 to 1."""

    place: str
    time_s: NDArray[np.float64]
    share: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Span:
    """One run, or what is none: the part to be cut out, the motion in it, shocks, all on the picture's clock [s]."""

    kind: Kind
    label: str
    from_s: float
    to_s: float
    start_s: float
    stop_s: float
    shocks_s: tuple[float, ...]


def cut_sheets(
    name: str, lanes: Sequence[Lane], spans: Sequence[Span], say: Catalogue, clock: str
) -> dict[str, Figure]:
    """Draw an evening in rows of twenty minutes, as many to a figure as a printed page has room for.

    Parameters
    ----------
    name : str
        Makes the identifiers inside the pictures reproducible.
    lanes : sequence of Lane
        Left and right skate first.
    spans : sequence of Span
    say : Catalogue
    clock : str
        The log whose clock it is.

    Returns
    -------
    dict of str to Figure
        By name, numbered where there are several.
    """
    begin_s = min(float(lane.time_s[0]) for lane in lanes)
    end_s = max(float(lane.time_s[-1]) for lane in lanes)
    length_s = min(ROW_S, max(end_s - begin_s, 60.0))
    count = max(1, int(np.ceil((end_s - begin_s) / length_s)))
    starts = begin_s + length_s * np.arange(count)
    most = max(1, int(SHEET_IN / (_lanes_in(len(lanes)) + ROW_GAP_IN)))
    sheets = [starts[first : first + most] for first in range(0, count, most)]
    names = [f"{name}-{number}" for number, _ in enumerate(sheets, 1)] if len(sheets) > 1 else [name]
    words = [say.place(lane.place) for lane in lanes], say("cut.picture.axis", log=clock)
    return {
        one: _sheet(one, lanes, spans, [(float(start), float(start) + length_s) for start in sheet], words)
        for one, sheet in zip(names, sheets, strict=True)
    }


def _sheet(
    name: str,
    lanes: Sequence[Lane],
    spans: Sequence[Span],
    parts_s: Sequence[tuple[float, float]],
    words: tuple[list[str], str],
) -> Figure:
    """Draw some rows; `words` names the lanes and the axis."""
    from matplotlib import rc_context
    from matplotlib.figure import Figure

    lanes_in = _lanes_in(len(lanes))
    row_in = lanes_in + ROW_GAP_IN
    with rc_context({**STYLE, "svg.hashsalt": name}):
        drawn = Figure(figsize=(WIDTH_IN, len(parts_s) * row_in + BELOW_IN))
        height_in = drawn.get_figheight()
        for row, part_s in enumerate(parts_s, 1):
            bottom_in = height_in - row * row_in + ROW_GAP_IN / 2
            box = (
                LEFT_IN / WIDTH_IN,
                bottom_in / height_in,
                (WIDTH_IN - LEFT_IN - RIGHT_IN) / WIDTH_IN,
                lanes_in / height_in,
            )
            axes = drawn.add_axes(box)
            _row(axes, lanes, spans, part_s)
            axes.set_yticks(0.4 + np.arange(len(lanes)), words[0][::-1])
        axes.set_xlabel(words[1])
    return drawn


def _lanes_in(count: int) -> float:
    """Height of the lanes of a row [inch]."""
    return count * min(max(LANE_IN, LANES_IN / count), HIGHEST_LANE_IN)


def _row(axes: Axes, lanes: Sequence[Lane], spans: Sequence[Span], part_s: tuple[float, float]) -> None:
    from_s, to_s = part_s
    step_s = (to_s - from_s) / STEPS
    for place, lane in enumerate(reversed(lanes)):
        time_s, share = thinned(lane, part_s, step_s)
        colour = next((foot.colour for side, foot in FEET.items() if lane.place.startswith(side)), GREY)
        axes.fill_between(time_s, place, place + 0.9 * share, step="post", color=colour, linewidth=0)
    for span in spans:
        if span.to_s > from_s and span.from_s < to_s:
            _mark(axes, span, len(lanes), part_s)
    axes.set_xlim(from_s, to_s)
    axes.set_ylim(-0.25, len(lanes))
    bare(axes, "left")


def _mark(axes: Axes, span: Span, lanes: int, part_s: tuple[float, float]) -> None:
    colour, dash = LOOKS[span.kind]
    from_s, to_s = max(span.from_s, part_s[0]), min(span.to_s, part_s[1])
    if span.kind != "aside":
        axes.axvspan(from_s, to_s, color=PALE, linewidth=0, zorder=0)
    axes.plot(
        [from_s, to_s], [-0.15, -0.15], color=colour, linestyle=dash, linewidth=2, solid_capstyle="butt"
    )
    axes.plot([from_s, to_s], [lanes, lanes], color=colour, linestyle=dash, linewidth=1, clip_on=False)
    shocks = [at for at in span.shocks_s if part_s[0] <= at <= part_s[1]]
    axes.plot(
        shocks, np.full(len(shocks), lanes - 0.05), color=INK, marker="v", markersize=3, linestyle="none"
    )
    if part_s[0] <= span.start_s <= part_s[1]:
        axes.annotate(
            span.label,
            (span.start_s, lanes),
            xytext=(0, 2),
            textcoords="offset points",
            ha="center",
        )


def thinned(
    lane: Lane, part_s: tuple[float, float], step_s: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the largest share in each step of a part of a lane; equal steps in a row are told once."""
    inside = slice(*np.searchsorted(lane.time_s, part_s))
    time_s, share = lane.time_s[inside], lane.share[inside]
    if not len(time_s):
        return np.array(part_s), np.zeros(2)
    places = ((time_s - part_s[0]) / step_s).astype(np.intp)
    edges = np.flatnonzero(np.diff(places, prepend=-1))
    height = np.maximum.reduceat(share, edges).round(2)
    kept = np.flatnonzero(np.diff(height, prepend=-1.0))
    begin_s = part_s[0] + step_s * places[edges][kept]
    return np.append(begin_s, time_s[-1]), np.append(height[kept], height[-1])
