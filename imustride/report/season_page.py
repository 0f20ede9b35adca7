"""The season of one skater, or of a group, as one page."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from imustride import __version__
from imustride.report import season_words as words
from imustride.report.amounts import MISSING, Amounts
from imustride.report.catalogue import DEFAULT_LANGUAGE, catalogue
from imustride.report.pages import page_environment

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping

    from imustride.report.amounts import System
    from imustride.season_results import Course, SeasonResult

MOST_PAPER = 3  # lines of a list that a sheet of paper has room for; a screen shows all
TITLES = {
    "real change": "season.real_title",
    "no change that matters": "season.none_title",
    "unclear": "season.unclear_title",
}


def season_page(
    result: SeasonResult, athlete: str, language: str = DEFAULT_LANGUAGE, system: System = "metric"
) -> str:
    """Write the season of one skater as one self-contained page.

    Parameters
    ----------
    result : SeasonResult
    athlete : str
    language : str
        One of `imustride.report.catalogue.languages`.
    system : "metric" or "imperial"
    """
    amounts = Amounts(catalogue(language), system)
    say, courses = amounts.say, result.of(athlete)
    days = sorted({point.date for course in courses for point in course.points})
    beside = words.changes_beside(courses)
    numbers = {day: number for number, day in enumerate(beside, 1)}
    return (
        page_environment()
        .get_template("season.html.j2")
        .render(
            say=say,
            version=__version__,
            athlete=athlete,
            facts=_facts(result, athlete, days, amounts),
            short=in_short(courses, amounts),
            blocks=[_block(course, result, amounts, numbers, place) for place, course in enumerate(courses)],
            beside=[
                say("season.changed_on", number=numbers[day], date=day, what=_listed(found, amounts))
                for day, found in beside.items()
            ],
            apart=words.kept_apart(courses, say),
            most_paper=MOST_PAPER,
        )
    )


def _listed(phrases: tuple[str, ...], amounts: Amounts) -> str:
    return amounts.say("list.semicolon").join(amounts.say.reason(phrase) for phrase in phrases)


def _facts(
    result: SeasonResult, athlete: str, days: list[dt.date], amounts: Amounts
) -> list[tuple[str, str]]:
    say = amounts.say
    surface = result.surface.get(athlete)
    return [
        (say("season.sessions"), say("season.span", first=days[0], last=days[-1]) if days else MISSING),
        (say("head.protocol"), result.protocol.get(athlete, MISSING)),
        (say("head.surface"), say(f"surface.{surface}") if surface else MISSING),
        (say("season.looked_at"), say(f"phase.{result.phase}")),
    ]


def in_short(courses: tuple[Course, ...], amounts: Amounts) -> list[str]:
    """Say in a sentence each what changed, what did not, what is unclear, and what has no value."""
    say, out = amounts.say, []
    for verdict, title in TITLES.items():
        named = []
        for course in courses:
            if course.verdict == verdict and course.points:
                name, change = words.measure_name(course, say), words.short(course, amounts)
                named.append(say("season.with_change", name=name, change=change) if change else name)
        if named:
            out.append(say("season.in_short", title=say(title), what=say("list.semicolon").join(named)))
    empty = [words.measure_name(course, say) for course in courses if not course.points]
    if empty:
        out.append(say("season.nothing", what=say("list.semicolon").join(empty)))
    return out


def _block(
    course: Course, result: SeasonResult, amounts: Amounts, numbers: Mapping[dt.date, int], place: int
) -> dict[str, Any]:
    """Return what the page says and shows of one metric."""
    say = amounts.say
    name = words.measure_name(course, say)
    verdict, why = words.verdict(course, say), words.why(course, amounts, result.most_ahead)
    return {
        "name": name,
        "verdict": verdict,
        "why": why,
        "side": words.side(course, amounts),
        "notes": [words.sizes(course, say), *words.noise(course, amounts)] if course.points else [],
        "repeats": words.repeats(course, amounts),
        "svg": _svg(course, amounts, numbers, f"course-{place}") if course.points else "",
        "says": _says(course, name, f"{verdict}{say('list.colon')}{why}.", say) if course.points else "",
        "rows": _rows(course, amounts),
    }


def _says(course: Course, name: str, verdict: str, say: Any) -> str:
    return str(
        say(
            "season.picture.says",
            name=name,
            sessions=say.many("season.sessions_n", len(course.points)),
            first=course.points[0].date,
            last=course.points[-1].date,
            verdict=verdict,
        )
    )


def _svg(course: Course, amounts: Amounts, numbers: Mapping[dt.date, int], name: str) -> Any:
    from markupsafe import Markup

    from imustride.report.inline import inline_svg
    from imustride.report.season_picture import draw_course

    return Markup(inline_svg(draw_course(course, amounts, numbers, name), name))  # noqa: S704 - our own drawing


def _rows(course: Course, amounts: Amounts) -> list[tuple[str, ...]]:
    unit = words.unit_of(course)
    return [
        (
            str(point.date),
            amounts.amount(point.level, unit, (point.band_high - point.band_low) / 2),
            amounts.between(point.band_low, point.band_high, unit, sign=course.kind == "asymmetry"),
            str(point.runs),
            str(point.pushes),
            _listed(point.changed, amounts),
        )
        for point in course.points
    ]


def group_page(
    result: SeasonResult,
    addresses: Mapping[str, str],
    language: str = DEFAULT_LANGUAGE,
    system: System = "metric",
) -> str:
    """Write the season of a group: a line a skater in the order of the codes, never by size.

    Parameters
    ----------
    result : SeasonResult
    addresses : mapping of str to str
        Where the page of each skater is.
    language : str
    system : "metric" or "imperial"
    """
    amounts = Amounts(catalogue(language), system)
    say = amounts.say
    rows = [
        (athlete, addresses[athlete], [_cell(course, amounts) for course in result.of(athlete)])
        for athlete in sorted(result.athletes)
    ]
    headings = [words.measure_name(course, say) for course in result.of(result.athletes[0])]
    return (
        page_environment()
        .get_template("season_group.html.j2")
        .render(
            say=say,
            version=__version__,
            looked_at=say(f"phase.{result.phase}"),
            headings=headings,
            rows=rows,
            agreement=_agreement(result, amounts),
        )
    )


def _cell(course: Course, amounts: Amounts) -> tuple[str, str, str]:
    """Return verdict, size of a real change, and number of sessions."""
    say = amounts.say
    sessions = say.many("season.sessions_n", len(course.points))
    return words.verdict(course, say), words.short(course, amounts), sessions


def _agreement(result: SeasonResult, amounts: Amounts) -> list[str]:
    """Say of every asymmetry whether the sessions of the group agree on its side."""
    say, out = amounts.say, []
    for course in result.of(result.athletes[0]):
        found = result.side_agreement.get(course.name)
        if found is None:
            continue
        name = words.measure_name(course, say)
        if not math.isfinite(found["value"]):
            out.append(say("season.group.unknown", name=name))
            continue
        interval = amounts.between(found["low"], found["high"], "", sign=False)
        out.append(
            say(
                "season.group.agreement",
                name=name,
                value=amounts.number(found["value"], ""),
                interval=interval,
            )
        )
    return out
