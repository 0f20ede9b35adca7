"""Left against right in plain words: what differs, what is the same, what cannot be called yet, what was not measured."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from imustride.report.amounts import MISSING
from imustride.report.measures import measure
from imustride.report.words import label

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    import pandas as pd

    from imustride.report.amounts import Amounts
    from imustride.report.catalogue import Catalogue

Kind = Literal["real", "same", "small", "unsure", "missing"]
MOST_RUNS = 30  # more runs than these are no advice, as the table of symmetry has it
SIDES = ("left", "right")
WHY = ("why", "short")  # the reason in full, and for paper


@dataclass(frozen=True, slots=True)
class Judged:
    """What can be said of a metric in a phase.

    Parameters
    ----------
    kind : str
    metric, phase, name : str
        `name` in the words of the page.
    why, short : str
        The reason, with the comparison it rests on; and as short as paper wants it.
    strength : float
        Size of the difference over the smallest one that counts.
    """

    kind: Kind
    metric: str
    phase: str
    name: str
    why: str
    short: str
    strength: float


def name_of(metric: str, say: Catalogue) -> str:
    """Return a metric in the words of the page; one they do not know by its column."""
    key = f"metric.{metric}.name"
    return say(key) if key in say else label(metric)


def neighbours(pushes: pd.DataFrame, phase: str, metric: str) -> tuple[int, int, int]:
    """Count neighbouring pushes of opposite feet by which of the two has more.

    Parameters
    ----------
    pushes : DataFrame
        Rows of ``pushes.csv`` of the runs that count.
    phase, metric : str

    Returns
    -------
    left_more, right_more, pairs : int
        A tie is a pair in which neither has more.
    """
    left_more = right_more = pairs = 0
    counted = pushes[(pushes["push"] > 0) & ((pushes["phase"] == phase) | (phase == "all"))]
    for _, run in counted.groupby("run", sort=False):
        if metric not in run or run["flags"].str.contains("clocks_not_synchronised").any():
            continue
        order = run.sort_values("blade_off_s", kind="stable", na_position="last")
        right = (order["side"] == "right").to_numpy()
        value = order[metric].to_numpy(dtype=float)
        both = (right[1:] != right[:-1]) & np.isfinite(value[1:]) & np.isfinite(value[:-1])
        more = np.where(right[1:], 1, -1) * (value[1:] - value[:-1])  # right minus left
        left_more += int((more[both] < 0).sum())
        right_more += int((more[both] > 0).sum())
        pairs += int(both.sum())
    return left_more, right_more, pairs


def judged(row: Mapping[Any, Any], pushes: pd.DataFrame, amounts: Amounts) -> Judged:
    """Judge a row of ``symmetry.csv`` in plain words.

    Parameters
    ----------
    row : mapping
    pushes : DataFrame
        Rows of ``pushes.csv`` of the runs that count.
    amounts : Amounts
    """
    say = amounts.say
    kind: Kind
    if row["verdict"] == "not measured":
        advice = row.get("advice") or "unknown"
        kind = "missing"
        why = short = say(f"why.{advice if advice in {'join_clocks', 'no_pairs'} else 'unknown'}")
    elif row["verdict"] == "alike":
        kind = "same"
        why, short = (say(f"{of}.same", smallest=_smallest(row, amounts, of)) for of in WHY)
    elif row["verdict"] in {"left larger", "right larger"}:
        kind, (why, short) = "real", _difference(row, pushes, amounts)
    else:
        kind, why, short = _open(row, amounts)
    return Judged(
        kind, row["metric"], row["phase"], name_of(row["metric"], say), why, short, _strength(row, kind=kind)
    )


def by_reason(said: Iterable[Judged]) -> dict[str, list[str]]:
    """Return what was not measured, each name once, by the reason; the reason of most of them first."""
    named: dict[str, list[str]] = {}
    for one in said:
        if one.kind == "missing" and one.name not in named.setdefault(one.why, []):
            named[one.why].append(one.name)
    return dict(sorted(named.items(), key=lambda item: -len(item[1])))


def by_index(row: Mapping[Any, Any]) -> bool:
    """Whether the row is judged in percent of the mean."""
    return math.isfinite(row["symmetry_index_percent"])


def own_unit(row: Mapping[Any, Any]) -> str:
    """The unit in which the means of a row are shown."""
    return measure(str(row["metric"])).shown_as or str(row["unit"])


def difference_unit(row: Mapping[Any, Any]) -> str:
    """The unit in which the difference of a row is shown."""
    return "ms" if row["unit"] == "s" else own_unit(row)


def half_width(row: Mapping[Any, Any]) -> float:
    """Half of the interval of the difference, in the unit of the tables; NaN without one."""
    return float(row["difference_ci_high"] - row["difference_ci_low"]) / 2


def _strength(row: Mapping[Any, Any], *, kind: Kind) -> float:
    if kind == "missing":
        return math.nan
    size = row["symmetry_index_percent"] if by_index(row) else row["difference"]
    return abs(float(size)) / float(row["smallest_difference"])


def _difference(row: Mapping[Any, Any], pushes: pd.DataFrame, amounts: Amounts) -> tuple[str, str]:
    say, side = amounts.say, str(row["verdict"]).removesuffix(" larger")
    sign = 1 if side == "right" else -1
    low, high = sorted((sign * row["difference_ci_low"], sign * row["difference_ci_high"]))
    unit = difference_unit(row)
    left_more, right_more, pairs = neighbours(pushes, row["phase"], row["metric"])
    key = f"metric.{row['metric']}.more"
    what = say(
        key if key in say else "metric.other.more",
        name=name_of(row["metric"], say),
        side=say(f"word.{side}"),
        amount=amounts.amount(abs(row["difference"]), unit, half_width(row)),
    )
    interval = amounts.between(low, high, unit, sign=False)
    agree = right_more if side == "right" else left_more
    return (
        say("why.real", what=what, interval=interval, agree=agree, pairs=pairs),
        say("short.real", side=say(f"word.{side}"), agree=agree, pairs=pairs),
    )


def _smallest(row: Mapping[Any, Any], amounts: Amounts, words: str) -> str:
    """The smallest difference that counts: a chosen number, in full."""
    of = "%" if by_index(row) else difference_unit(row)
    size = amounts.with_unit(amounts.chosen(float(row["smallest_difference"]), of), of)
    return amounts.say(f"{words}.seen_percent", percent=size) if by_index(row) else size


def _seen(row: Mapping[Any, Any], amounts: Amounts, size: float, words: str) -> str:
    """A size that can just be seen, no finer than itself allows."""
    if by_index(row):
        return amounts.say(f"{words}.seen_percent", percent=amounts.amount(size, "%", size))
    return amounts.amount(size, difference_unit(row), size)


def _open(row: Mapping[Any, Any], amounts: Amounts) -> tuple[Kind, str, str]:
    """Tell what an unclear row is too small for, or how many more runs would tell."""
    say, advice = amounts.say, row.get("advice", "")
    if advice == "better_calibration":
        part = float(row["systematic_percent" if by_index(row) else "systematic_difference"])
        why, short = (say(f"{of}.small_sensors", seen=_seen(row, amounts, part, of)) for of in WHY)
        return "small", why, short
    if advice == "near_smallest_difference":
        ends = row["ci_high_percent"] - row["ci_low_percent"]
        half = float(ends / 2) if by_index(row) else half_width(row)
        why, short = (
            say(
                f"{of}.small_near",
                seen=_seen(row, amounts, half, of),
                smallest=_smallest(row, amounts, of),
            )
            for of in WHY
        )
        return "small", why, short
    return ("unsure", *_runs_needed(row, amounts))


def _runs_needed(row: Mapping[Any, Any], amounts: Amounts) -> tuple[str, str]:
    import pandas as pd

    say = amounts.say
    between = amounts.between(row["difference_ci_low"], row["difference_ci_high"], difference_unit(row))
    if between == MISSING:
        return say("why.more_needed"), say("short.more_needed")
    needed = row.get("runs_needed")
    why, short = (
        say(f"{of}.more_hardly", n=MOST_RUNS)
        if pd.isna(needed)
        else say.many(f"{of}.more", int(needed) - int(row["n_runs"]))
        for of in WHY
    )
    return say("list.semicolon").join((why, say("why.far", interval=between))), short


def figures(row: Mapping[Any, Any], pushes: pd.DataFrame, amounts: Amounts) -> dict[str, Any]:
    """Return a row of the page's table of left and right, every number rounded by its own uncertainty."""
    say, said = amounts.say, judged(row, pushes, amounts)
    unit, of = own_unit(row), difference_unit(row)
    against = amounts.amount(row["difference"], of, half_width(row), sign=True)
    interval = amounts.between(row["difference_ci_low"], row["difference_ci_high"], of)
    part = row.get("systematic_difference", math.nan)
    systematic = amounts.amount(part, of, part)
    return {
        "name": said.name,
        "phase": say(f"phase.{row['phase']}"),
        "kind": say(f"judged.{said.kind}"),
        "why": said.why,
        "short": said.short,
        **{side: _mean(row, side, unit, amounts) for side in SIDES},
        **{f"{side}_varies": _varies(row, side, amounts) for side in SIDES},
        "against": against,
        "interval": say("figures.against_wide") if interval == MISSING else interval,
        "sensors": "" if systematic == MISSING else f"±{systematic}",
        "sizes": say("list.semicolon").join(
            (f"{int(row['n_left'])}, {int(row['n_right'])}", str(int(row["n_runs"])))
        ),
    }


def _mean(row: Mapping[Any, Any], side: str, unit: str, amounts: Amounts) -> str:
    """A foot's mean, as fine as the spread of its pushes allows."""
    mean, percent, n = (float(row[name]) for name in (f"{side}_mean", f"{side}_cv_percent", f"n_{side}"))
    return amounts.amount(mean, unit, abs(mean) * percent / 100 / math.sqrt(n) if n else math.nan)


def _varies(row: Mapping[Any, Any], side: str, amounts: Amounts) -> str:
    """How much single pushes of a foot vary; a standard deviation of n pushes is known to 1 / sqrt(2 n) of itself."""
    percent, n = float(row[f"{side}_cv_percent"]), float(row[f"n_{side}"])
    text = amounts.amount(percent, "%", percent / math.sqrt(2 * n) if n else math.nan)
    return "" if text == MISSING else text
