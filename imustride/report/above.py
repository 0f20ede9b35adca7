"""A run seen from above: both blades' tracks along the lane."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.report.amounts import Amounts
from imustride.report.drawing import FEET, INK, LEFT_IN, PALE, RIGHT_IN, WIDTH_IN, panels
from imustride.report.picture import Picture, Words, axis_name
from imustride.report.tracks import drawn_run, tracks

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from imustride.report.amounts import System
    from imustride.report.catalogue import Catalogue
    from imustride.report.tracks import Track
    from imustride.results import RunResult, SessionResult

ROW_M, MOST_ROWS = 18.0, 6  # what a telephone's width can show; longer lanes get longer rows
STRETCHES = (5, 4, 3, 2, 1)
TALLEST_IN, LETTERS_IN = 1.5, 0.22
LEAST_M = 0.4  # to either side
WIDEST_M = 5.0  # to either side: a path that strays further is wrong
# Columns of pushes.csv that stand beside the places in the table of the picture.
BESIDE = ("stride_length_m", "lateral_travel_m", "track_angle_deg")


def shown_tracks(
    result: SessionResult, run: RunResult | None
) -> tuple[RunResult, str, dict[str, Track], NDArray[np.float64]] | None:
    """Return the run to draw, why it was chosen, its tracks and its gates [m]; None where no run has a path."""
    gate_s = dict(zip(result.runs_table["run"], result.runs_table["gate_time_s"], strict=True))
    found = drawn_run(result.runs if run is None else [run], gate_s)
    if found is None:
        return None
    chosen, why = found
    gate_m = np.zeros(0) if chosen.body is None else chosen.body.gate_m
    return chosen, why, tracks(chosen.paths, chosen.clocks, chosen.pushes, gate_m), gate_m


def table(result: SessionResult, run: RunResult | None) -> pd.DataFrame:
    """Return where each push ended, its way and its direction, with their standard deviations."""
    import pandas as pd

    found = shown_tracks(result, run)
    return pd.DataFrame() if found is None else places(found[0].name, found[2], found[0].pushes)


def draw(result: SessionResult, run: RunResult | None, texts: Catalogue, units: System) -> Figure:
    """Draw one run; see `from_above`."""
    chosen, _, shown, gate_m = _found(result, run)
    without = texts(_without(chosen))
    return from_above(shown, gate_m, Amounts(texts, units), without)


def _found(
    result: SessionResult, run: RunResult | None
) -> tuple[RunResult, str, dict[str, Track], NDArray[np.float64]]:
    found = shown_tracks(result, run)
    if found is None:
        message = "no run has tracks to draw"
        raise ValueError(message)
    return found


def _without(run: RunResult) -> str:
    return "pictures.above.no_gates" if run.gates is None else "pictures.above.not_placed"


def from_above(
    shown: Mapping[str, Track], gate_m: NDArray[np.float64], amounts: Amounts, without: str
) -> Figure:
    """Draw both blades' tracks, the skater going from left to right, row below row.

    Parameters
    ----------
    shown : mapping of side to Track
    gate_m : ndarray, shape (g,)
        Where the gates stand along the lane [m].
    amounts : Amounts
    without : str
        What is said where there are none to draw.
    """
    begin_m, row_m, rows = row_lengths(shown)
    low_m, high_m, stretch = sideways(shown)
    height_in = (high_m - low_m) * stretch * (WIDTH_IN - LEFT_IN - RIGHT_IN) / row_m
    with panels("above", rows, height_in, own_x_in=0.2) as (drawn, axes_below):
        for row, axes in enumerate(axes_below):
            span = (begin_m + row * row_m, begin_m + (row + 1) * row_m)
            _lane(axes, span, gate_m)
            for side, one in shown.items():
                _blade(axes, side, one, span)
            axes.set_xlim(*span)
            axes.set_ylim(low_m, high_m)
            _scales(axes, amounts)
        if not len(gate_m):
            axes_below[0].set_title(without, loc="right", fontsize=9)
        axes_below[-1].set_xlabel(scale_words(stretch, amounts))
    return drawn


def _scales(axes: Axes, amounts: Amounts) -> None:
    """Write round numbers of the reader's unit along both axes."""
    from matplotlib.ticker import MaxNLocator

    per = amounts.shown("m").per_unit
    for axis, most, words in ((axes.xaxis, 7, plain), (axes.yaxis, 4, side_words)):
        low, high = (float(end) for end in axis.get_view_interval())
        ticks = np.asarray(
            MaxNLocator(most, steps=[1, 2, 5, 10]).tick_values(low * per, high * per), dtype=float
        )
        ticks = ticks[(ticks >= low * per) & (ticks <= high * per)]
        axis.set_ticks(
            (ticks / per).tolist(), [words(tick).replace(".", amounts.say.decimal) for tick in ticks]
        )


def plain(place: float) -> str:
    """Return a place along the lane."""
    return f"{round(place, 6):g}".replace("-", "\N{MINUS SIGN}")


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


def side_words(place: float) -> str:
    """Return a place across the lane with the letter of the side it lies on."""
    letter = FEET["left" if place > 0 else "right"].letter
    return f"{round(abs(place), 6):g} {letter}" if abs(place) > 1e-9 else "0"


def scale_words(stretch: int, amounts: Amounts) -> str:
    """Name the axis and say how the two scales compare."""
    say = amounts.say
    axis, across = (axis_name(f"pictures.above.{name}", "m", amounts) for name in ("along", "sideways"))
    key = "pictures.above.larger" if stretch > 1 else "pictures.above.equal"
    return say(key, axis=axis, sideways=across, n=stretch)


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


def words(result: SessionResult, run: RunResult | None, amounts: Amounts) -> Words:
    """Return the title, the text alternative, the caption and how to read it."""
    chosen, why, shown, gate_m = _found(result, run)
    without = amounts.say(_without(chosen))
    return described(chosen.name, why, shown, gate_m, chosen.pushes, amounts, without)


def described(
    name: str,
    why: str,
    shown: Mapping[str, Track],
    gate_m: NDArray[np.float64],
    pushes: pd.DataFrame,
    amounts: Amounts,
    without: str,
) -> Words:
    """Return title, text alternative and caption of one run.

    Parameters
    ----------
    name : str
        Of the run.
    why : str
        Why it was chosen: the last part of a text's key.
    shown : mapping of side to Track
    gate_m : ndarray, shape (g,)
    pushes : DataFrame
        The run's rows of ``pushes.csv``.
    amounts : Amounts
    without : str
        What is said where there are no gates to draw.
    """
    say, stretch = amounts.say, sideways(shown)[2]
    counts = say.listed(
        [
            say("pictures.above.offs", n=len(one.names), side=say(f"word.{side}"))
            for side, one in shown.items()
        ]
    )
    gates = _gate_words(gate_m, without, amounts)
    scale = say("pictures.above.scale_larger" if stretch > 1 else "pictures.above.scale_equal", n=stretch)
    caption = say("pictures.above.caption", run=name, why=say(f"pictures.above.{why}"))
    return Words(
        say("pictures.above.title", run=name),
        say("pictures.above.says", run=name, counts=counts, gates=gates, scale=scale),
        " ".join([caption, _known(shown, amounts), *_limits(shown, gate_m, pushes, gates, amounts)]),
        " ".join([say("pictures.above.reading", gates=gates, scale=scale), say("pictures.above.apart")]),
    )


def _gate_words(gate_m: NDArray[np.float64], without: str, amounts: Amounts) -> str:
    say = amounts.say
    if not len(gate_m):
        return say("pictures.above.without", without=without)
    at = amounts.with_unit(say.listed([amounts.number(place, "m") for place in gate_m]), "m")
    return say("pictures.above.gates_at", places=at)


def _known(shown: Mapping[str, Track], amounts: Amounts) -> str:
    """Say how well a place is known."""
    along, across = np.nanmedian(np.concatenate([one.off_sd_m for one in shown.values()]), axis=0)
    return amounts.say(
        "pictures.above.known",
        along=amounts.amount(along, "m", along),
        across=amounts.amount(across, "m", across),
    )


def _limits(
    shown: Mapping[str, Track],
    gate_m: NDArray[np.float64],
    pushes: pd.DataFrame,
    gates: str,
    amounts: Amounts,
) -> list[str]:
    """Say what is less certain here than in other runs."""
    say = amounts.say
    said = [] if len(gate_m) else [f"{gates[:1].upper()}{gates[1:]}."]
    if len(shown) < 2:
        said.append(say("pictures.above.one_skate", side=say(f"word.{next(iter(shown))}")))
    elif pushes["flags"].str.contains("clocks_not_synchronised").any():
        said.append(say("pictures.above.own_clock"))
    if any((np.abs(one.place_m[:, 1]) > WIDEST_M).any() for one in shown.values()):
        said.append(say("pictures.above.strayed", metres=amounts.amount(WIDEST_M, "m", 0.3)))
    return said


def places(name: str, shown: Mapping[str, Track], pushes: pd.DataFrame) -> pd.DataFrame:
    """Return a run's places by push, in the order in which the blades leave the ice.

    Parameters
    ----------
    name : str
        Of the run.
    shown : mapping of side to Track
    pushes : DataFrame
        The run's rows of ``pushes.csv``.
    """
    import pandas as pd

    found = []
    for side, one in shown.items():
        mine = pushes[(pushes["side"] == side) & pushes["blade_off_s"].notna()]
        beside = [column for of in BESIDE for column in (of, f"{of}_sd") if column in mine]
        found.append(
            pd.DataFrame(
                {
                    "run": name,
                    "at": one.names,
                    "place_m": one.off_m[:, 0],
                    "place_m_sd": one.off_sd_m[:, 0],
                    "across_m": one.off_m[:, 1],
                    "across_m_sd": one.off_sd_m[:, 1],
                    **{column: mine[column].to_numpy(dtype=float) for column in beside},
                    "blade_off_s": mine["blade_off_s"].to_numpy(dtype=float),
                }
            )
        )
    whole = pd.concat(found, ignore_index=True).sort_values("blade_off_s", kind="stable", ignore_index=True)
    return whole.drop(columns="blade_off_s")


PICTURE = Picture("above", table, draw, words, tracked=True)
