"""The leg through the push: knee and shin from the blade's landing to its leaving, left against right."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from imustride.report.amounts import Amounts
from imustride.report.drawing import FEET, INK, key, panels
from imustride.report.picture import Picture, Words, localise, runs_shown

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from imustride.report.amounts import System
    from imustride.report.catalogue import Catalogue
    from imustride.results import RunResult, SessionResult

ANGLES = {"knee_flexion_deg": "knee", "shank_inclination_deg": "shin"}
HEIGHT_IN = 1.45
# Strokes of spread stand at every fifth place of a course, those of the right foot between those of the left one.
EVERY, FIRST = 4, {"left": 0, "right": 2}


def chosen(result: SessionResult, run: RunResult | None) -> tuple[pd.DataFrame, str]:
    """Return the courses of the pushes that are shown, and their phase: the later ones, the first six where there are no others."""
    import pandas as pd

    held = [one.leg_courses for one in runs_shown(result, run, counting=True) if one.leg_courses is not None]
    held = [courses[courses["push"] > 0] for courses in held if len(courses)]
    if not held:
        return pd.DataFrame(), ""
    found = pd.concat(held, ignore_index=True)
    late = found["phase"] == "later"
    return (found[late], "later") if late.any() else (found, "acceleration")


def table(result: SessionResult, run: RunResult | None) -> pd.DataFrame:
    """Return mean and standard deviation of both angles of each foot at every twentieth of the time on the ice."""
    import pandas as pd

    found = chosen(result, run)[0]
    if found.empty:
        return pd.DataFrame()
    held = [name for name in ANGLES if found[name].notna().any()]
    groups = found.groupby(["side", "contact_percent"])
    means, spreads = groups[held].mean(), groups[held].std().add_suffix("_sd")
    columns = [name for angle in held for name in (angle, f"{angle}_sd")]
    whole = pd.concat([means, spreads], axis=1)[columns]
    whole["n_pushes"] = groups.size()
    return whole.reset_index()


def draw(result: SessionResult, run: RunResult | None, texts: Catalogue, units: System) -> Figure:
    """Draw a panel for each angle: both feet's mean course, its spread as upright strokes."""
    amounts, values = Amounts(texts, units), table(result, run)
    held = [name for name in ANGLES if name in values]
    with panels("leg", len(held), HEIGHT_IN, below_in=0.72) as (drawn, axes):
        for panel, angle in zip(axes, held, strict=True):
            for side in FEET:
                _foot(panel, side, values[(values["side"] == side) & values[angle].notna()], angle)
            _letters(panel, values, angle)
            unit = amounts.unit("deg")
            panel.set_title(f"{texts(f'pictures.leg.{ANGLES[angle]}')} [{unit}]", loc="left", fontsize=9)
            panel.margins(y=0.08)
            localise(panel, amounts)
        axes[-1].set_xlim(-2, 107)
        axes[-1].set_xticks(
            [0, 25, 50, 75, 100],
            [texts("pictures.leg.lands"), "25", "50", "75", texts("pictures.leg.leaves")],
        )
        axes[-1].set_xlabel(texts("pictures.leg.contact"))
        key(drawn, [(texts(f"pictures.leg.{side}"), _look(side)) for side in FEET if _has(values, side)])
    return drawn


def _has(values: pd.DataFrame, side: str) -> bool:
    return bool((values["side"] == side).any())


def _look(side: str) -> dict[str, Any]:
    foot = FEET[side]
    return {
        "color": foot.colour,
        "linestyle": foot.dash,
        "linewidth": 1.8,
        "marker": foot.marker,
        "markersize": 4,
    }


def _foot(panel: Axes, side: str, mine: pd.DataFrame, angle: str) -> None:
    look = _look(side)
    panel.plot(mine["contact_percent"], mine[angle], markevery=(FIRST[side], EVERY), **look)
    some = mine.iloc[FIRST[side] :: EVERY]
    low, high = some[angle] - some[f"{angle}_sd"], some[angle] + some[f"{angle}_sd"]
    panel.vlines(some["contact_percent"], low, high, color=look["color"], linewidth=1.3)


def _letters(panel: Axes, values: pd.DataFrame, angle: str) -> None:
    """Write each foot's letter behind the end of its course, apart where the ends meet."""
    ends = values[(values["contact_percent"] == values["contact_percent"].max()) & values[angle].notna()]
    higher = ends.sort_values(angle)["side"].tolist()
    for side, end in zip(ends["side"], ends[angle], strict=True):
        up = 0 if len(higher) < 2 else 5 * (1 if higher[-1] == side else -1)
        panel.annotate(
            FEET[side].letter, (100, end), (5, up), textcoords="offset points", va="center", color=INK
        ).set_fontweight("bold")


def words(result: SessionResult, run: RunResult | None, amounts: Amounts) -> Words:
    """Return the title, the text alternative, the caption and how to read it."""
    say, values = amounts.say, table(result, run)
    phase = chosen(result, run)[1]
    sizes = [
        f"{FEET[side].letter} {values['n_pushes'][values['side'] == side].max()}"
        for side in FEET
        if _has(values, side)
    ]
    said = [
        _said(values[values["side"] == side], side, angle, amounts)
        for side in FEET
        for angle in ANGLES
        if angle in values and values[angle][values["side"] == side].notna().any()
    ]
    return Words(
        say("pictures.leg.title"),
        say("pictures.leg.says", courses=say("list.semicolon").join(said)),
        say("pictures.leg.caption", phase=say(f"of_phase.{phase}"), sizes=", ".join(sizes)),
        say("pictures.leg.reading"),
    )


def _said(mine: pd.DataFrame, side: str, angle: str, amounts: Amounts) -> str:
    """Say where a course begins, where it is largest and where it ends, each as fine as its spread allows."""
    say = amounts.say
    mean, sd, n = (mine[name].to_numpy(dtype=float) for name in (angle, f"{angle}_sd", "n_pushes"))
    top = int(mean.argmax())
    lands, most, leaves = (
        amounts.amount(mean[place], "deg", sd[place] / n[place] ** 0.5) for place in (0, top, -1)
    )
    return say(
        f"pictures.leg.{ANGLES[angle]}_course",
        side=say(f"word.{side}"),
        lands=lands,
        most=most,
        at=int(mine["contact_percent"].iloc[top]),
        leaves=leaves,
    )


PICTURE = Picture("leg", table, draw, words, goes_without_saying=True)
