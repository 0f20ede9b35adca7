"""A course of the season in plain words: what changed, what cannot be told, what would tell."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from imustride.report.comparison import name_of
from imustride.report.measures import measure
from imustride.report.words import label

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from imustride.report.amounts import Amounts
    from imustride.report.catalogue import Catalogue
    from imustride.season_results import Course

SIDES = {
    "left, consistently": "left",
    "right, consistently": "right",
    "no consistent side": "none",
    "too few sessions": "few",
}
ICC = "intraclass correlation"


def measure_name(course: Course, say: Catalogue) -> str:
    """Return what is followed, in the words of the page."""
    if course.kind == "runs":
        key = f"season.run.{course.metric}"
        return say(key) if key in say else label(course.metric)
    name = name_of(course.metric, say)
    return say("season.asymmetry", name=name) if course.kind == "asymmetry" else name


def unit_of(course: Course) -> str:
    """Return its unit as `imustride.report.amounts` names units."""
    shown = measure(course.metric).shown_as if course.kind != "runs" and course.unit != "%" else ""
    return shown or course.unit


def verdict(course: Course, say: Catalogue) -> str:
    """Return the word of the verdict."""
    return say(f"season.verdict.{course.verdict}")


def why(course: Course, amounts: Amounts, most_ahead: int) -> str:
    """Say what the verdict rests on and, where it is unclear, what would tell."""
    say, told = amounts.say, course.judged
    if course.verdict == "real change":
        lasts = told["step_to"] == course.points[-1].date
        return say(
            "season.says.real" if lasts else "season.says.real_while",
            change=_signed(course, told["step"], *_half(told, "step"), amounts),
            interval=_between(course, told["step_ci_low"], told["step_ci_high"], amounts),
            first=told["step_from"],
            last=told["step_to"],
        )
    if course.verdict == "no change that matters":
        return say("season.says.none", smallest=_size(told["smallest"], unit_of(course), amounts))
    if not course.points:
        return say("season.says.nothing")
    if not math.isfinite(told["change"]):
        few = course.more_sessions is not None
        said = [say("season.says.few" if few else "season.says.still")]
        if few:
            said.append(say.many("season.more.least", course.more_sessions or 0))
        return say("list.semicolon").join(said)
    change = say(
        "season.says.unclear",
        change=_signed(course, told["change"], *_half(told, "change"), amounts),
        interval=_between(course, told["change_ci_low"], told["change_ci_high"], amounts),
    )
    return say("list.semicolon").join([change, _ahead(course, say, most_ahead)])


def _ahead(course: Course, say: Catalogue, most_ahead: int) -> str:
    if course.more_sessions is None:
        return say("season.more.hardly", n=most_ahead)
    return say.many("season.more.tell", course.more_sessions)


def short(course: Course, amounts: Amounts) -> str:
    """Return the size of a real change, or nothing."""
    told = course.judged
    if course.verdict != "real change":
        return ""
    return _signed(course, told["step"], *_half(told, "step"), amounts)


def _half(told: Mapping[str, Any], of: str) -> tuple[float]:
    return ((told[f"{of}_ci_high"] - told[f"{of}_ci_low"]) / 2,)


def _signed(course: Course, value: float, half: float, amounts: Amounts) -> str:
    return amounts.amount(value, unit_of(course), half, sign=True)


def _between(course: Course, low: float, high: float, amounts: Amounts) -> str:
    return amounts.between(low, high, unit_of(course))


def sizes(course: Course, say: Catalogue) -> str:
    """Say on how much a course rests."""
    told = course.judged
    return say(
        "season.sizes",
        sessions=say.many("season.sessions_n", told["sessions"]),
        runs=say.many("season.runs_n", told["runs"]),
    )


def noise(course: Course, amounts: Amounts) -> list[str]:
    """Say what the measurement can see in this metric, and what would matter."""
    say, told, unit = amounts.say, course.judged, unit_of(course)
    if not math.isfinite(course.detectable):
        said = [say("season.noise.unknown")]
    elif told["learnt_from"]:
        skaters = say.many("season.skaters_n", told["learnt_from"])
        detectable = _size(course.detectable, unit, amounts)
        said = [say("season.noise.others", detectable=detectable, skaters=skaters)]
    else:
        said = [say("season.noise.known", detectable=_size(course.detectable, unit, amounts))]
    if math.isfinite(told["smallest"]):
        source = say.reason(course.smallest_source)
        return [
            *said,
            say("season.noise.matters", smallest=_size(told["smallest"], unit, amounts), source=source),
        ]
    return [*said, say("season.noise.not_known")]


def _size(value: float, unit: str, amounts: Amounts) -> str:
    """A size with two digits, and one where the unit's decimals would make it nothing."""
    text = amounts.number(value, unit, value / 10)
    if value > 0.0 and not text.strip(f"0{amounts.say.decimal}"):
        text = f"{value * amounts.shown(unit).per_unit:.1g}".replace(".", amounts.say.decimal)
    return amounts.with_unit(text, unit)


def repeats(course: Course, amounts: Amounts) -> list[str]:
    """Say how repeatable the metric was: typical error of the skater, and correlations with their form."""
    say, own, unit = amounts.say, course.own_error, unit_of(course)
    said = []
    if math.isfinite(own.get("value", math.nan)):
        value = _size(own["value"], unit, amounts)
        interval = amounts.between(own["ci_low"], own["ci_high"], unit, sign=False)
        said.append(say("season.noise.own", value=value, interval=interval))
    forms = ("ICC(2,1)", "ICC(3,1)") if course.figure(ICC, "ICC(2,1)") else ("ICC(1,1)",)
    for found in (course.figure(ICC, form) for form in forms):
        if math.isfinite(found.get("value", math.nan)):
            value = amounts.number(found["value"], "")
            interval = amounts.between(found["ci_low"], found["ci_high"], "", sign=False)
            said.append(
                say(
                    "season.noise.icc",
                    form=found["form"],
                    value=value,
                    interval=interval,
                    n=found["athletes"],
                )
            )
    return said


def side(course: Course, amounts: Amounts) -> list[str]:
    """Say how large an asymmetry is, and whether its side stays the same; nothing of other metrics."""
    say, told, unit = amounts.say, course.side, unit_of(course)
    if not told:
        return []
    half = (told["ci_high"] - told["ci_low"]) / 2
    key = SIDES[told["side"]]
    same = told["right"] if key != "left" else round(told["same_side"] * told["sessions"])
    return [
        say(f"season.side.{key}", same=same, right=told["right"], n=told["sessions"]),
        say(
            "season.side.size",
            size=amounts.amount(told["size"], unit, half),
            mean=amounts.amount(told["mean"], unit, half, sign=True),
            interval=amounts.between(told["ci_low"], told["ci_high"], unit),
        ),
    ]


def changes_beside(courses: tuple[Course, ...]) -> dict[dt.date, tuple[str, ...]]:
    """Return what changed beside the skating by the day it was first so, in order of time."""
    found: dict[dt.date, dict[str, None]] = {}
    for course in courses:
        for point in course.points:
            if point.changed:
                found.setdefault(point.date, {}).update(dict.fromkeys(point.changed))
    return {day: tuple(found[day]) for day in sorted(found)}


def kept_apart(courses: tuple[Course, ...], say: Catalogue) -> list[str]:
    """Return the sessions that are not compared, those of one reason in one sentence."""
    days: dict[str, dict[str, None]] = {}
    for course in courses:
        for one in course.apart:
            reason = say("list.semicolon").join(say.reason(reason) for reason in one.reasons)
            name = measure_name(course, say)
            said = say(f"season.apart_word.{one.word}", name=name, reason=reason)
            days.setdefault(said, {})[str(one.date)] = None
    return [say("season.apart_of", dates=", ".join(found), reason=said) for said, found in days.items()]
