"""Speed along the lane, with the gates and what they timed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.report.amounts import Amounts
from imustride.report.drawing import FEET, GREY, INK, PALE, panels
from imustride.report.picture import Picture, Words, axis_name, localise, run_title, runs_shown, scaled

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

    from imustride.kinematics import BodyPath
    from imustride.report.amounts import System
    from imustride.report.catalogue import Catalogue
    from imustride.results import RunResult, SessionResult

HEIGHT_IN = 2.2
MOST_PUSHES = 120  # of a run; the table holds the rest
MOST_POINTS = 90  # of a curve: finer than a page can show


def table(result: SessionResult, run: RunResult | None) -> pd.DataFrame:
    """Return place and speed of the body where a blade leaves the ice and at every gate.

    `section_speed_m_s` is what the timing gates alone say of the section that ends there.
    """
    import pandas as pd

    runs = [one for one in runs_shown(result, run, counting=True) if one.body is not None]
    return pd.concat(
        [_places(one, one.body) for one in runs if one.body] or [pd.DataFrame()], ignore_index=True
    )


def _places(run: RunResult, body: BodyPath) -> pd.DataFrame:
    import pandas as pd

    pushes = run.pushes[run.pushes["blade_off_s"].notna()].sort_values("blade_off_s", kind="stable")
    off_s = pushes["blade_off_s"].to_numpy(dtype=float)
    names = [f"{FEET[side].letter}{n}" for side, n in zip(pushes["side"], pushes["push"], strict=True)]
    gates = [f"G{order}" for order in range(1, len(body.gate_s) + 1)]
    times = np.concatenate([off_s, body.gate_s])
    along_sd_m = np.linalg.norm(body.position_root, axis=1)
    along, along_sd, speed, spread = (
        np.interp(times, body.time_s, values, left=np.nan, right=np.nan)
        for values in (body.position_m, along_sd_m, body.speed_m_s, body.speed_sd_m_s)
    )
    return pd.DataFrame(
        {
            "run": run.name,
            "at": [*names, *gates],
            "place_m": along,
            "place_m_sd": along_sd,
            "speed_m_s": speed,
            "speed_m_s_sd": spread,
            "section_speed_m_s": np.concatenate([np.full(len(off_s), np.nan), _section_speeds(run, body)]),
        }
    ).sort_values("place_m", kind="stable")


def _section_speeds(run: RunResult, body: BodyPath) -> NDArray[np.float64]:
    """Mean speed from the gate before, by the timing system alone [m/s]; nothing at the first gate."""
    speeds = np.full(len(body.gate_s), np.nan)
    if run.gates is not None and len(run.gates.position_m) == len(speeds):
        speeds[1:] = np.diff(run.gates.position_m) / np.diff(run.gates.time_s)
    return speeds


def shown_run(result: SessionResult, run: RunResult | None) -> RunResult:
    """Return the run that is drawn in full: the fastest by its gates, else the first."""
    runs = [one for one in runs_shown(result, run, counting=True) if one.body is not None]
    gate_s = dict(zip(result.runs_table["run"], result.runs_table["gate_time_s"], strict=True))
    timed = [one for one in runs if np.isfinite(gate_s.get(one.name, np.nan))]
    return min(timed, key=lambda one: float(gate_s[one.name])) if timed else runs[0]


def curve(run: RunResult, body: BodyPath) -> tuple[NDArray[np.float64], ...]:
    """Return place, speed and its standard deviation up to the last push or gate, as densely as can be seen."""
    ends = [float(run.pushes["blade_off_s"].max()), *(float(at) for at in body.gate_s)]
    until = (body.time_s <= np.nanmax(ends) + 0.1) & (body.position_m > -0.5)
    every = max(1, int(until.sum()) // MOST_POINTS)
    return tuple(values[until][::every] for values in (body.position_m, body.speed_m_s, body.speed_sd_m_s))


def draw(result: SessionResult, run: RunResult | None, texts: Catalogue, units: System) -> Figure:
    """Draw one run with its band, its pushes and its gates, the other ones as thin lines."""
    amounts, points, full = Amounts(texts, units), table(result, run), shown_run(result, run)
    with panels("speed", 1, HEIGHT_IN) as (drawn, (axes,)):
        for other in runs_shown(result, run, counting=True):
            if other.body is not None and other is not full:
                place, speed, _ = curve(other, other.body)
                axes.plot(
                    scaled(place, "m", amounts), scaled(speed, "m/s", amounts), color=GREY, linewidth=0.7
                )
        if full.body is not None:
            _band(axes, full, full.body, amounts)
        mine = points[points["run"] == full.name]
        _pushes(axes, mine[~mine["at"].str.startswith("G")].head(MOST_PUSHES), amounts)
        _gates(axes, mine, amounts)
        axes.set_ylim(bottom=0)
        axes.set_xlabel(axis_name("pictures.speed.along", "m", amounts))
        axes.set_title(axis_name("pictures.speed.value", "m/s", amounts), loc="left", fontsize=9)
        localise(axes, amounts)
    return drawn


def _band(axes: Axes, run: RunResult, body: BodyPath, amounts: Amounts) -> None:
    place, speed, spread = curve(run, body)
    x, y, half = (
        scaled(place, "m", amounts),
        scaled(speed, "m/s", amounts),
        scaled(spread, "m/s", amounts),
    )
    axes.fill_between(x, np.maximum(y - half, 0), y + half, facecolor=PALE, edgecolor=GREY, linewidth=0.4)
    axes.plot(x, y, color=INK, linewidth=1.6)
    begin, end = min(0.0, float(x.min())), float(x.max())
    axes.set_xlim(begin - 0.02 * (end - begin), end)


def _pushes(axes: Axes, mine: pd.DataFrame, amounts: Amounts) -> None:
    """Put a mark on the curve where a blade leaves the ice."""
    at = mine["at"].to_numpy(dtype=str)
    for foot in FEET.values():
        which = np.char.startswith(at, foot.letter)
        look: dict[str, Any] = {"markersize": 5.5, "markeredgecolor": "white", "markeredgewidth": 0.6}
        place, speed = (
            scaled(mine["place_m"][which], "m", amounts),
            scaled(mine["speed_m_s"][which], "m/s", amounts),
        )
        axes.plot(place, speed, linestyle="none", marker=foot.marker, color=foot.colour, **look)


def _gates(axes: Axes, mine: pd.DataFrame, amounts: Amounts) -> None:
    """Draw the gates, and between them the mean speed that they timed."""
    gates = mine[mine["at"].str.startswith("G")]
    place = scaled(gates["place_m"], "m", amounts)
    timed = scaled(gates["section_speed_m_s"], "m/s", amounts)
    for order, (name, x) in enumerate(zip(gates["at"], place, strict=True)):
        axes.axvline(x, color=INK, linewidth=1.2, linestyle=":", zorder=1)
        near_end = x > axes.get_xlim()[1] - 0.06 * np.ptp(axes.get_xlim())
        aside, align = (-3, "right") if near_end else (3, "left")
        axes.annotate(name, (x, 0), (aside, 4), textcoords="offset points", ha=align)
        if order and np.isfinite(timed[order]):
            axes.hlines(timed[order], place[order - 1], x, color=INK, linewidth=1.2, linestyle=(0, (6, 2)))


def words(result: SessionResult, run: RunResult | None, amounts: Amounts) -> Words:
    """Return the title, the text alternative, the caption and how to read it."""
    say, points, full = amounts.say, table(result, run), shown_run(result, run)
    mine = points[points["run"] == full.name]
    top = mine.sort_values("speed_m_s", kind="stable").to_dict("records")[-1]
    gates = mine[mine["at"].str.startswith("G")]
    title = run_title(full, say)
    says = say(
        "pictures.speed.says",
        run=title,
        speed=amounts.amount(float(top["speed_m_s"]), "m/s", float(top["speed_m_s_sd"])),
        place=amounts.amount(float(top["place_m"]), "m", float(top["place_m_sd"])),
    )
    caption, reading = [say("pictures.speed.caption", run=title)], [say("pictures.speed.reading")]
    if len(gates):
        reading.append(say("pictures.speed.gates"))
        if gates["section_speed_m_s"].notna().any():
            reading.append(say("pictures.speed.sections"))
    else:
        caption.append(say("pictures.speed.no_gates"))
    if len(full.paths) == 1:
        caption.append(say("pictures.speed.one_skate", side=say(f"word.{next(iter(full.paths))}")))
    if len(set(points["run"])) > 1:
        reading.append(say("pictures.speed.others"))
    return Words(say("pictures.speed.title"), says, " ".join(caption), " ".join(reading))


PICTURE = Picture("speed", table, draw, words, tracked=True)
