"""The answer in three to five plain sentences."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from imustride.report.comparison import Judged, by_reason, judged
from imustride.report.measures import measure
from imustride.report.rows import compared, wanted
from imustride.report.timing import no_time, time_of, timed

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from imustride.report.amounts import Amounts
    from imustride.report.catalogue import Catalogue
    from imustride.results import SessionResult

MOST_SENTENCES, MOST_WATCHED, MOST_NAMED = 5, 2, 3


def counting(result: SessionResult) -> pd.DataFrame:
    """Return the rows of ``pushes.csv`` of the runs that count."""
    usable = {run.name for run in result.runs if run.usable}
    return result.pushes[result.pushes["run"].isin(usable)]


def spoken(result: SessionResult) -> pd.DataFrame:
    """Return the rows of ``symmetry.csv`` that a page speaks of; none of the body that no push has a value of.

    Few wear sensors everywhere: that nothing was measured where none was worn goes without saying.
    """
    rows, pushes = wanted(result.symmetry), result.pushes
    held = {name for name in set(rows["metric"]) & set(pushes) if pushes[name].notna().any()}
    told = rows["metric"].map(lambda metric: metric in held or measure(metric).place == "skates")
    return rows[told.astype(bool)]


def answer(result: SessionResult, amounts: Amounts) -> list[str]:
    """Return the sentences, the most important first.

    Parameters
    ----------
    result : SessionResult
    amounts : Amounts
    """
    say, pushes = amounts.say, counting(result)
    sentences = [_time(result, amounts), _rate(result, pushes, amounts)]
    if not any(run.usable for run in result.runs):
        first = next((run.reason for run in result.runs if run.reason), say("why.unknown"))
        why = say("answer.nothing", reason=_closed(say.reason(first)))
        return [sentences[0], why, *([say("answer.nothing_shown")] if len(result.pushes) else [])]
    said = [judged(row, pushes, amounts) for row in spoken(result).to_dict("records")]
    sides = set(pushes["side"])
    if len(sides) == 1:
        return [*sentences, say("answer.one_skate", side=say(f"word.{sides.pop()}"))]
    real = sorted((one for one in said if one.kind == "real"), key=lambda one: -one.strength)
    same = [one for one in said if one.kind == "same"]
    still_open = [one for one in said if one.kind in {"small", "unsure"}]
    alone = "_run" if sum(run.usable for run in result.runs) == 1 else ""
    if real:
        sentences.append(
            say(
                f"answer.watch{alone}",
                what=say("list.semicolon").join(_seen(one, say) for one in _best(real)),
            )
        )
    elif len(compared(result.symmetry)):
        sentences.append(say(f"answer.no_difference{alone}", n=int((pushes["push"] > 0).sum())))
    if same:
        sentences.append(say("answer.same", what=say.listed(_few(_names(same, say), say))))
    if still_open:
        sentences.append(say("answer.open", what=say.listed(_few(_names(still_open, say), say))))
    gone = by_reason(said)
    if len(sentences) < MOST_SENTENCES and gone:
        reason, names = next(iter(gone.items()))
        sentences.append(say("answer.missing", reason=reason, what=say.listed(_few(names, say))))
    return sentences


def _closed(sentence: str) -> str:
    return sentence if sentence.endswith((".", "!", "?", ")")) else f"{sentence}."


def _time(result: SessionResult, amounts: Amounts) -> str:
    say, layouts = amounts.say, timed(result)
    if not layouts:
        return say("answer.time_none", why=no_time(result, amounts))
    one = layouts[0]
    best = {"best": time_of(one.times_s[one.best], amounts), "run": one.runs[one.best]}
    if len(one.runs) == 1:
        return say("answer.time_one", **best)
    mean = time_of(float(one.times_s.mean()), amounts)
    sentence = say("answer.time_best", **best, mean=mean, n=len(one.runs))
    gained = one.gained()
    if gained is None:
        return sentence
    place = [amounts.chosen(metres, "m") for metres in one.position_m[gained[0] : gained[0] + 2]]
    high = amounts.with_unit(place[1], "m")
    return f"{sentence} " + say("answer.gained", low=place[0], high=high, amount=time_of(gained[1], amounts))


def _rate(result: SessionResult, pushes: pd.DataFrame, amounts: Amounts) -> str:
    """Pushes per second, from run to run and from push to push."""
    say = amounts.say
    usable = result.runs_table[result.runs_table["usable"].astype(bool)]
    rates_hz = usable["step_rate_hz"].to_numpy(dtype=float)
    rates_hz = rates_hz[np.isfinite(rates_hz)]
    spread_hz, n = push_rate_spread(pushes)
    if not len(rates_hz) or not math.isfinite(spread_hz):
        return say("answer.rate_none")
    error_hz = spread_hz / math.sqrt(n)
    single_hz = spread_hz / math.sqrt(n / len(rates_hz))
    values: dict[str, object] = {
        "rate": amounts.number(float(rates_hz.mean()), "Hz", error_hz),
        "spread": amounts.number(spread_hz, "Hz", spread_hz / math.sqrt(2 * n)),
        "n": n,
    }
    if len(rates_hz) == 1:
        return say("answer.rate_one", **values)
    low, high = (amounts.number(float(end), "Hz", single_hz) for end in (rates_hz.min(), rates_hz.max()))
    return say("answer.rate_many", **values, low=low, high=high, runs=len(rates_hz))


def push_rate_spread(pushes: pd.DataFrame) -> tuple[float, int]:
    """Return the standard deviation of the pushes per second within the runs [1/s], and of how many pushes."""
    squares, freedom, n = 0.0, 0, 0
    for _, run in pushes[pushes["push"] > 0].groupby("run", sort=False):
        step_s = run["step_time_s"].to_numpy(dtype=float)
        each_hz = 1 / step_s[np.isfinite(step_s)]
        if len(each_hz) < 2:
            continue
        squares += float(((each_hz - each_hz.mean()) ** 2).sum())
        freedom += len(each_hz) - 1
        n += len(each_hz)
    return (math.sqrt(squares / freedom) if freedom else math.nan), n


def _best(real: Sequence[Judged]) -> list[Judged]:
    """The strongest differences, one a metric."""
    first: dict[str, Judged] = {}
    for one in real:
        first.setdefault(one.metric, one)
    return list(first.values())[:MOST_WATCHED]


def _seen(one: Judged, say: Catalogue) -> str:
    return f"{say(f'in_phase.{one.phase}')} {one.why}"


def _names(said: Sequence[Judged], say: Catalogue) -> list[str]:
    """Name metrics once; with the phase where it holds in one phase only."""
    phases: dict[str, list[str]] = {}
    for one in said:
        phases.setdefault(one.name, []).append(one.phase)
    return [
        name if len(found) > 1 else f"{name} ({say(f'of_phase.{found[0]}')})"
        for name, found in phases.items()
    ]


def _few(names: list[str], say: Catalogue) -> list[str]:
    rest = len(names) - MOST_NAMED
    if rest < 1:
        return names
    return [*names[:MOST_NAMED], say("answer.more", n=rest)]
