"""``imustride season compare``: what changed, and what is noise."""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from imustride.cli.language import check_language
from imustride.cli.season_options import DAY, iso, store_option
from imustride.cli.talk import Talk, columns, talk_options

if TYPE_CHECKING:
    import datetime as dt

    from imustride.season_results import Course, SeasonResult

ICC = "intraclass correlation"
NO_VALUE = "no value"
MISSING, LEAST_P = "-", 0.001
HEADING = ("what", "verdict", "change (95 %)", "step", "MDC", "matters", "sessions, runs")
LAST = (
    "MDC: smallest change of a session mean that noise alone hardly makes (95 %). Sizes in the unit of the metric.",
    "Not checked on ice. A change is neither good nor bad by itself, and says nothing of its cause.",
)


@click.command(epilog="Example: imustride season compare --athlete A07 --metric gate_time_s")
@click.option("--athlete", "athletes", multiple=True, metavar="CODE", help="Whom; may be repeated.")
@click.option("--group", is_flag=True, help="Every athlete whose consent covers it, each alone.")
@click.option("--from", "since", type=DAY, help="First day.")
@click.option("--to", "until", type=DAY, help="Last day.")
@click.option(
    "--metric",
    "names",
    multiple=True,
    metavar="NAME",
    help="Column of pushes.csv (asymmetry:NAME for right against left) or of runs.csv. Up to six, named before looking; "
    "default: the usual six.",
)
@click.option(
    "--phase",
    type=click.Choice(["acceleration", "later", "all"]),
    help="Pushes looked at: the first six, the later ones, all.  [default: later]",
)
@click.option(
    "--matters",
    multiple=True,
    metavar="NAME=SIZE",
    help="Smallest change that matters, in the metric's unit; may be repeated.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder for a page a skater, one of the group, and their numbers as CSV; an earlier one is replaced.",
)
@click.option(
    "--language", default="en", show_default=True, help="Language of the pages; an unknown one lists all."
)
@click.option(
    "--units",
    type=click.Choice(["metric", "imperial"]),
    default="metric",
    show_default=True,
    help="Units of the pages: m, m/s; or ft, in, mph.",
)
@store_option
@talk_options
def compare(
    talk: Talk,
    place: str | None,
    athletes: tuple[str, ...],
    since: dt.datetime | None,
    until: dt.datetime | None,
    names: tuple[str, ...],
    phase: Literal["acceleration", "later", "all"] | None,
    matters: tuple[str, ...],
    out: Path | None,
    language: str,
    units: Literal["metric", "imperial"],
    *,
    group: bool,
) -> None:
    """Judge each change over a season against what this measurement can see.

    Like is compared with like: same protocol, surface, phase, definition and comparable sensors. The verdict is real change,
    unclear, or no change that matters. Needs consent on record.
    """
    from imustride import keeping
    from imustride.season.family import SeasonSettings
    from imustride.season.reading import Chosen
    from imustride.season.store import open_store

    if bool(athletes) == group:
        message = "name whom to compare by --athlete, or everybody by --group"
        raise click.UsageError(message)
    settings = SeasonSettings() if phase is None else SeasonSettings(phase=phase)
    family = keeping.named_family(settings, names)
    chosen = Chosen(athletes or None, iso(since), iso(until))
    check_language(language)
    store = open_store(place)
    result = keeping.compare_season(store, chosen, family, settings, _sizes(matters))
    page = None if out is None else keeping.write_season_pages(store, result, out, language, units)
    for code, reason in result.left_out.items():
        talk.problem(f"{code}: left out: {reason}")
    talk.data({**asdict(result), "page": page})
    talk.lines([*_readable(result), *([] if page is None else ["", f"page: {page}"])])


def _sizes(given: tuple[str, ...]) -> dict[str, float]:
    """Return the smallest changes that matter, by name."""
    out = {}
    for text in given:
        name, _, size = text.partition("=")
        try:
            out[name] = float(size)
        except ValueError:
            message = f"--matters: found {text!r}, wanted NAME=SIZE, such as gate_time_s=0.05"
            raise click.UsageError(message) from None
    return out


def _readable(result: SeasonResult) -> list[str]:
    lines: list[str] = []
    for code in result.athletes:
        courses = result.of(code)
        lines += ["", _head(result, code, courses), ""]
        lines += columns([HEADING, *(_row(course) for course in courses)], right=(2, 4, 5, 6))
        lines += ["", *(f"  {line}" for line in dict.fromkeys(_notes(courses, result.most_ahead)))]
    for name, found in result.side_agreement.items():
        if math.isfinite(found["value"]):
            lines.append(
                f"{name}: sessions agree on the larger side beyond chance by {found['value']:.2f} "
                f"({found['low']:.2f} to {found['high']:.2f}; 0: no more than chance, 1: always)"
            )
    return [*lines[1:], "", *LAST]


def _head(result: SeasonResult, code: str, courses: tuple[Course, ...]) -> str:
    days = sorted({point.date for course in courses for point in course.points})
    span = f"{days[0]} to {days[-1]}" if days else "no session with a value"
    pushes = "all pushes" if result.phase == "all" else f"{result.phase} pushes"
    return f"{code}, {result.protocol.get(code, '')}, {result.surface.get(code, '')}, {pushes}, {span}"


def _row(course: Course) -> tuple[str, ...]:
    told, digits = course.judged, _digits(course)
    interval = f"{_signed(told['change_ci_low'], digits)} to {_signed(told['change_ci_high'], digits)}"
    return (
        f"{course.name} [{course.unit}]",
        course.verdict,
        f"{_signed(told['change'], digits)} ({interval})" if math.isfinite(told["change"]) else MISSING,
        _step(course, digits),
        _size(course.detectable, digits),
        _size(told["smallest"], digits),
        f"{told['sessions']}, {told['runs']}",
    )


def _step(course: Course, digits: int) -> str:
    told = course.judged
    if course.verdict != "real change":
        return ""
    lasts = told["step_to"] == course.points[-1].date
    until = "" if lasts else f" to {told['step_to']}"
    return f"{_signed(told['step'], digits)} from {told['step_from']}{until}"


def _size(value: float, digits: int) -> str:
    return f"{value:.{digits}f}" if math.isfinite(value) else "not known"


def _digits(course: Course) -> int:
    """Decimals that show a tenth of the noise of a session."""
    size = course.judged["session_sd"]
    known = math.isfinite(size) and size > 0
    return min(max(1 - math.floor(math.log10(size)), 0), 6) if known else 3


def _signed(value: float, digits: int) -> str:
    return f"{value:+.{digits}f}" if math.isfinite(value) else MISSING


def _notes(courses: tuple[Course, ...], most_ahead: int) -> list[str]:
    out = []
    for course in courses:
        out += [f"{course.name}: {_why(course, most_ahead)}", *_repeats(course), *_side(course)]
    for course in courses:
        out += [
            f"changed on {point.date}: {'; '.join(point.changed)}" for point in course.points if point.changed
        ]
    return out + _apart(courses)


def _apart(courses: tuple[Course, ...]) -> list[str]:
    """Sessions that are not compared, those of one reason in one line."""
    lines = []
    for course in courses:
        days: dict[tuple[str, str], list[str]] = {}
        for one in course.apart:
            days.setdefault((one.word, "; ".join(one.reasons)), []).append(f"{one.date} {one.session}")
        lines += [
            f"{f'{course.name}: ' if word == NO_VALUE else ''}{word}: {reason}: {', '.join(found)}"
            for (word, reason), found in days.items()
        ]
    return lines


def _why(course: Course, most_ahead: int) -> str:
    told = course.judged
    why = f"{course.verdict}: {told['reason']}"
    if course.verdict == "unclear" and course.points:
        why += f"; {_ahead(course, most_ahead)}"
    p_value = told["p_adjusted"]
    if math.isfinite(p_value):
        why += f" (p {'< 0.001' if p_value < LEAST_P else f'{p_value:.3f}'}, corrected for the number of metrics)"
    return why


def _ahead(course: Course, most_ahead: int) -> str:
    more = course.more_sessions
    if more is None:
        return f"even {most_ahead} more sessions like the last ones would hardly tell"
    if not math.isfinite(course.judged["change"]):
        return f"at least {more} more are needed"
    return f"about {more} more like the last ones would tell"


def _repeats(course: Course) -> list[str]:
    """What is known of how repeatable a metric is."""
    own, digits = course.own_error, _digits(course)
    parts = []
    if math.isfinite(own.get("value", math.nan)):
        parts.append(f"own typical error {_figure(own, digits)}")
    group = [("typical error", "", "typical error of the group", digits)]
    forms = ("ICC(2,1)", "ICC(3,1)") if course.figure(ICC, "ICC(2,1)") else ("ICC(1,1)",)
    group += [(ICC, form, _form(course, form), 2) for form in forms]
    for quantity, form, said, places in group:
        found = course.figure(quantity, form)
        if math.isfinite(found.get("value", math.nan)):
            parts.append(f"{said} {_figure(found, places)}")
    quiet = course.figure("typical error").get("athletes", 0)
    return [f"    {'; '.join(parts)}; {quiet} athletes without a real change"] if parts else []


def _form(course: Course, form: str) -> str:
    return str(course.figure(ICC, form).get("form", form))


def _figure(found: Any, digits: int) -> str:
    return f"{found['value']:.{digits}f} ({found['ci_low']:.{digits}f} to {found['ci_high']:.{digits}f})"


def _side(course: Course) -> list[str]:
    side = course.side
    if not side:
        return []
    known = math.isfinite(side["ci_low"] + side["ci_high"])
    interval = f" ({side['ci_low']:+.1f} to {side['ci_high']:+.1f})" if known else ""
    mean = f"mean {side['mean']:+.1f}{interval} {course.unit}, size {side['size']:.1f}"
    seen = f"right larger in {side['right']} of {_count(side['sessions'], 'session')}"
    return [f"    side: {side['side']}; {seen}; {mean}"]


def _count(number: int, of: str) -> str:
    return f"{number} {of}" if number == 1 else f"{number} {of}s"
