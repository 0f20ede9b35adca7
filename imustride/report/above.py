"""A run seen from above: both blades' tracks along the lane."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.report.drawing import FEET, INK, LEFT_IN, PALE, RIGHT_IN, WIDTH_IN, inline_svg, panels
from imustride.report.rows import number_with_sd
from imustride.report.words import number

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from imustride.report.tracks import Track

ROW_M, MOST_ROWS = 18.0, 6  # what a telephone's width can show; longer lanes get longer rows
STRETCHES = (5, 4, 3, 2, 1)
TALLEST_IN, LETTERS_IN = 1.5, 0.22
LEAST_M = 0.4  # to either side
WIDEST_M = 5.0  # to either side: a path that strays further is wrong


NO_GATES, NOT_PLACED = "no timing gates", "timing gates not placed"


def from_above(shown: Mapping[str, Track], gate_m: NDArray[np.float64], without: str = NO_GATES) -> str:
    """Draw both blades' tracks, the skater going from left to right, row below row.

    Parameters
    ----------
    shown : mapping of side to Track
    gate_m : ndarray, shape (g,)
        Where the gates stand along the lane [m].
    without : str
        What is said where there are none to draw.

    Returns
    -------
    str
        An ``svg`` element.
    """
    begin_m, row_m, rows = row_lengths(shown)
    low_m, high_m, stretch = sideways(shown)
    height_in = (high_m - low_m) * stretch * (WIDTH_IN - LEFT_IN - RIGHT_IN) / row_m
    with panels("above", rows, height_in, own_x_in=0.2) as (drawn, places):
        for row, axes in enumerate(places):
            span = (begin_m + row * row_m, begin_m + (row + 1) * row_m)
            _lane(axes, span, gate_m)
            for side, one in shown.items():
                _blade(axes, side, one, span)
            axes.set_xlim(*span)
            axes.set_ylim(low_m, high_m)
            axes.locator_params(axis="y", nbins=4)
            axes.yaxis.set_major_formatter(lambda metres, _: side_words(metres))
        if not len(gate_m):
            places[0].set_title(without, loc="right", fontsize=9)
        places[-1].set_xlabel(f"along the lane [m]; sideways [m] {scale_words(stretch)}")
        return inline_svg(drawn, "above")


def row_lengths(shown: Mapping[str, Track]) -> tuple[float, float, int]:
    """Return where the first row begins, how long a row is [m], and how many there are."""
    along = np.concatenate([one.place_m[:, 0] for one in shown.values()])
    begin_m, end_m = float(np.floor(along.min() - 0.2)), float(along.max())
    rows = int(np.clip(np.ceil((end_m - begin_m) / ROW_M), 1, MOST_ROWS))
    return begin_m, float(np.ceil((end_m - begin_m) / rows)), rows


def sideways(shown: Mapping[str, Track]) -> tuple[float, float, int]:
    """Return the span across the lane that is drawn [m], and how many times larger than along it."""
    across = np.concatenate([one.place_m[:, 1] for one in shown.values()])
    low_m, high_m = (float(np.clip(end, -WIDEST_M, WIDEST_M)) for end in (across.min(), across.max()))
    low_m, high_m = min(low_m, -LEAST_M), max(high_m, LEAST_M)
    row_in = (WIDTH_IN - LEFT_IN - RIGHT_IN) / row_lengths(shown)[1]
    room_in = TALLEST_IN - 2 * LETTERS_IN
    fits = [stretch for stretch in STRETCHES if (high_m - low_m) * stretch * row_in <= room_in]
    stretch = fits[0] if fits else STRETCHES[-1]
    letters_m = LETTERS_IN / (stretch * row_in)
    return low_m - letters_m, high_m + letters_m, stretch


def side_words(metres: float) -> str:
    """Return a place across the lane with the letter of the side it lies on."""
    letter = FEET["left" if metres > 0 else "right"].letter
    return f"{abs(metres):g} {letter}" if abs(metres) > 1e-9 else "0"


def scale_words(stretch: int) -> str:
    """Say how the two scales compare."""
    return f"drawn {stretch} times larger" if stretch > 1 else "drawn to the same scale"


def _lane(axes: Axes, span: tuple[float, float], gate_m: NDArray[np.float64]) -> None:
    axes.axhline(0.0, color=PALE, linewidth=0.8, zorder=0)
    for order, place in enumerate(gate_m, start=1):
        if span[0] <= place < span[1]:
            axes.axvline(place, color=INK, linewidth=1.2, linestyle=":", zorder=1)
            where = (place, 1), (0, 3), ("data", "axes fraction"), "offset points"
            axes.annotate(f"G{order}", *where, ha="center")


def _blade(axes: Axes, side: str, one: Track, span: tuple[float, float]) -> None:
    foot = FEET[side]
    near = (one.place_m[:, 0] > span[0] - 0.5) & (one.place_m[:, 0] < span[1] + 0.5)
    (along, across), on_ice = one.place_m[near].T, one.on_ice[near]
    swings = ~on_ice | ~np.roll(on_ice, 1) | ~np.roll(on_ice, -1)
    axes.plot(along, np.where(swings, across, np.nan), color=foot.colour, linewidth=0.5)
    axes.plot(along, np.where(on_ice, across, np.nan), color=foot.colour, linewidth=2.2, linestyle=foot.dash)
    here = (one.off_m[:, 0] >= span[0]) & (one.off_m[:, 0] < span[1])
    axes.plot(*one.off_m[here].T, color=foot.colour, marker=foot.marker, markersize=4.5, linestyle="none")
    up, edge_m = side == "left", 0.03 * (span[1] - span[0])
    for name, (x, y) in zip(np.array(one.names)[here], one.off_m[here], strict=True):
        aside = "left" if x - span[0] < edge_m else "right" if span[1] - x < edge_m else "center"
        written = axes.annotate(str(name), (x, y), (0, 5 if up else -5), textcoords="offset points")
        written.set(ha=aside, va="bottom" if up else "top", fontweight="bold")


def above_words(
    title: str,
    shown: Mapping[str, Track],
    gate_m: NDArray[np.float64],
    pushes: pd.DataFrame,
    without: str = NO_GATES,
) -> tuple[str, str]:
    """Return what the picture shows, for those who cannot see it, and its caption.

    Parameters
    ----------
    title : str
        Name of the run and why it was chosen.
    shown : mapping of side to Track
    gate_m : ndarray, shape (g,)
    pushes : DataFrame
        The run's rows of ``pushes.csv``.
    without : str
        What is said where there are no gates to draw.
    """
    counts = " and ".join(f"{len(one.names)} blade-offs {side}" for side, one in shown.items())
    stretch = sideways(shown)[2]
    narrow = ", since the lane is long and narrow" if stretch > 1 else ""
    sideways_words = f"sideways is {scale_words(stretch)}{narrow}"
    says = f"{title}, seen from above: {counts}; {_gate_words(gate_m, without)}; {sideways_words}. The table holds the places."
    caption = (
        f"{title}. The skater goes from left to right, row below row; up is the skater's left; "
        f"{sideways_words}. Thick line: that blade is on the ice (L solid, R dashed); thin line: it swings. Discs "
        "(L) and squares (R): it leaves the ice, with the number of the push. Metres along the lane count from the "
        f"stance; {_gate_words(gate_m, without)}. "
    )
    return says, caption + _limits(shown, pushes)


def _gate_words(gate_m: NDArray[np.float64], without: str) -> str:
    if not len(gate_m):
        return f"{without}, so that the distance and the speed are less certain"
    *others, last = [number(place, "m") for place in gate_m]
    return "timing gates (G) at " + (f"{', '.join(others)} and " if others else "") + f"{last} m"


def _limits(shown: Mapping[str, Track], pushes: pd.DataFrame) -> str:
    sd = np.nanmedian(np.concatenate([one.off_sd_m for one in shown.values()]), axis=0)
    words = (
        f"A place is known to ±{number(sd[0], 'm')} m along the lane and ±{number(sd[1], 'm')} m across (SD)"
    )
    if len(shown) < 2:
        words += f". Only the {next(iter(shown))} skate was measured"
    elif pushes["flags"].str.contains("clocks_not_synchronised").any():
        words += "; the clocks were not joined, so each track was found alone and how far apart they lie is assumed"
    else:
        words += "; how far apart the two tracks lie is mostly assumed, how each of them bends is measured"
    strayed = any((np.abs(one.place_m[:, 1]) > WIDEST_M).any() for one in shown.values())
    beyond = f", nor what strays more than {WIDEST_M:g} m to a side, which must be wrong" if strayed else ""
    return words + f". What follows the last push and the last gate is not drawn{beyond}."


def place_table(shown: Mapping[str, Track], pushes: pd.DataFrame) -> tuple[list[str], list[list[str]]]:
    """Return headings and rows of the picture's numbers: where each push ended, its way, and its direction."""
    order = pushes[pushes["blade_off_s"].notna()].assign(name="")
    for side, one in shown.items():
        order.loc[order["side"] == side, "name"] = one.names
    places = {
        name: (place, sd)
        for one in shown.values()
        for name, place, sd in zip(one.names, one.off_m, one.off_sd_m, strict=True)
    }
    rows = []
    for row in order[order["name"] != ""].to_dict("records"):
        place, sd = places[row["name"]]
        rows.append(
            [
                row["name"],
                *(number_with_sd(place[axis], sd[axis], "m") for axis in (0, 1)),
                *(
                    number_with_sd(row.get(name, np.nan), row.get(f"{name}_sd", np.nan), of)
                    for name, of in (
                        ("stride_length_m", "m"),
                        ("lateral_travel_m", "m"),
                        ("track_angle_deg", "deg"),
                    )
                ),
            ]
        )
    headings = [
        "push",
        "leaves at [m]",
        "to the left [m]",
        "stride [m]",
        "sideways, outward [m]",
        "track [°]",
    ]
    return headings, rows
