"""Rows of the page's tables, as text in the words, units and decimals of the reader."""

from __future__ import annotations

import math
import tomllib
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.report.amounts import MISSING
from imustride.report.comparison import name_of
from imustride.report.drawing import FEET
from imustride.report.measures import measures, shown_unit
from imustride.report.words import SUFFIX_UNITS, label, unit_of

if TYPE_CHECKING:
    import pandas as pd

    from imustride.report.amounts import Amounts
    from imustride.report.catalogue import Catalogue
    from imustride.report.measures import Place

# Columns of runs.csv with how fast the run was, the unit, and where its standard deviation stands.
SPEED_COLUMNS = {
    "peak": ("peak_speed_m_s", "m/s", "peak_speed_m_s_sd"),
    "mean": ("mean_speed_m_s", "m/s", "mean_speed_m_s_sd"),
    "would_reach": ("profile_v_max_m_s", "m/s", "profile_v_max_m_s_sd"),
    "after": ("profile_tau_s", "s", "profile_tau_s_sd"),
    "from_length": ("speed_gain_length_share_ratio", "share", "speed_gain_share_ratio_sd"),
    "from_rate": ("speed_gain_rate_share_ratio", "share", "speed_gain_share_ratio_sd"),
}


def condition(name: str, value: str | float | bool, amounts: Amounts) -> tuple[str, str]:  # noqa: FBT001 - of any kind
    """Return a condition of a session as its name and its value with the unit that the name carries."""
    say = amounts.say
    known = f"condition.{name}"
    title = say(known) if known in say else label(name)
    if isinstance(value, bool):
        return title, say("head.yes" if value else "head.no")
    suffix = unit_of(name)
    if isinstance(value, str) or suffix not in {"m", "m_s"}:
        written = value if isinstance(value, str) else str(value).replace(".", say.decimal)
        return title, f"{written} {SUFFIX_UNITS[suffix]}".strip() if suffix else written
    return title, amounts.amount(float(value), suffix.replace("m_s", "m/s"))


def run_rows(runs: pd.DataFrame, pushes: pd.DataFrame, amounts: Amounts) -> list[dict[str, Any]]:
    """Return the rows of the table of runs."""
    from imustride.report.timing import time_of

    say = amounts.say
    return [
        {
            "name": row["run"],
            "time": time_of(row["gate_time_s"], amounts),
            "left": int(row["pushes_left"]),
            "right": int(row["pushes_right"]),
            "rate": _rate(row["step_rate_hz"], pushes[pushes["run"] == row["run"]], amounts),
            "usable": bool(row["usable"]),
            "why": "" if row["usable"] else say.reason(row["reason"]) or say("why.unknown"),
        }
        for row in runs.to_dict("records")
    ]


def _rate(rate_hz: float, pushes: pd.DataFrame, amounts: Amounts) -> str:
    """Pushes per second with the number and the spread of those it is the mean of."""
    step_s = pushes["step_time_s"].to_numpy(dtype=float)
    each_hz = 1 / step_s[np.isfinite(step_s)]
    n = len(each_hz)
    if not math.isfinite(rate_hz) or n < 2:
        return MISSING
    sd_hz = float(each_hz.std(ddof=1))
    return amounts.say(
        "runs.rate_of",
        rate=amounts.number(rate_hz, "Hz", sd_hz / math.sqrt(n)),
        sd=amounts.number(sd_hz, "Hz", sd_hz / math.sqrt(2 * n)),
        n=n,
    )


def speed_rows(runs: pd.DataFrame, amounts: Amounts) -> tuple[list[str], list[list[str]]]:
    """Return headings and rows of the table of speeds: only columns with at least one value."""
    held = {
        key: columns
        for key, columns in SPEED_COLUMNS.items()
        if columns[0] in runs and runs[columns[0]].notna().any()
    }
    rows = [
        [row["run"], *(_known(row, *columns, amounts) for columns in held.values())]
        for row in runs.to_dict("records")
    ]
    return [amounts.say(f"speeds.{key}") for key in held], rows if held else []


def _known(row: dict[Any, Any], column: str, of: str, spread: str, amounts: Amounts) -> str:
    """A value of a run with its standard deviation, where it has one."""
    value, sd = float(row[column]), float(row.get(spread, math.nan))
    if of == "share":
        value, sd, of = 100 * value, 100 * sd, "%"
    if not math.isfinite(value) or not math.isfinite(sd):
        return amounts.amount(value, of)
    known = amounts.say("speeds.known", value=amounts.number(value, of, sd), sd=amounts.number(sd, of, sd))
    return amounts.with_unit(known, of)


def push_table(pushes: pd.DataFrame, amounts: Amounts, place: Place) -> tuple[list[str], list[list[str]]]:
    """Return headings and rows of a table of pushes: only columns with at least one value; no row without any."""
    say = amounts.say
    columns = [
        one.name
        for one in measures().values()
        if one.place == place and one.pushes and one.name in pushes and pushes[one.name].notna().any()
    ]
    if not columns:
        return [], []
    headings = [say(f"pushes.{word}") for word in ("run", "foot", "push", "phase")]
    headings += [_heading(name, amounts) for name in columns]
    rows = [
        [
            row["run"],
            FEET[row["side"]].letter,
            str(int(row["push"])),
            say(f"phase.{row['phase']}"),
            *(_single(row, name, amounts) for name in columns),
            ", ".join(_flag(flag, say) for flag in row["flags"].split(";") if flag),
        ]
        for row in pushes.to_dict("records")
    ]
    return [*headings, say("pushes.remarks")], rows


def _flag(flag: str, say: Catalogue) -> str:
    return say(f"flag.{flag}") if f"flag.{flag}" in say else flag.replace("_", " ")


def _heading(name: str, amounts: Amounts) -> str:
    unit, key = amounts.unit(shown_unit(name)), f"pushes.{name}"
    title = amounts.say(key) if key in amounts.say else name_of(name, amounts.say)
    return title + (f" [{unit}]" if unit else "")


def _single(row: dict[Any, Any], name: str, amounts: Amounts) -> str:
    """One value of a push, as fine as its own spread or the simulated accuracy of its column allows."""
    spread = float(row.get(f"{name}_sd", math.nan))
    if not math.isfinite(spread):
        spread = _accuracy().get(name, math.nan)
    return amounts.number(float(row[name]), shown_unit(name), spread)


@cache
def _columns() -> tuple[dict[str, Any], ...]:
    text = (Path(__file__).parent / "accuracy.toml").read_text(encoding="utf-8")
    return tuple(tomllib.loads(text)["column"])


@cache
def _accuracy() -> dict[str, float]:
    """Smallest standard deviation by column: no single value is known better."""
    known: dict[str, float] = {}
    for column in _columns():
        known[column["name"]] = min(column["sd"], known.get(column["name"], math.inf))
    return known


def accuracy_rows(amounts: Amounts) -> list[dict[str, str]]:
    """Return the rows of the table of simulated accuracy."""
    say = amounts.say
    return [
        {
            "what": name_of(column["name"], say),
            "bias": amounts.amount(column["bias"], column["unit"], sign=True),
            "sd": amounts.amount(column["sd"], column["unit"]),
            "n": str(column["n"]),
            "conditions": say(f"conditions.{column['conditions']}"),
        }
        for column in _columns()
    ]
