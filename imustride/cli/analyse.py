"""``imustride analyse``: sessions to results."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from imustride.cli.failures import FAILURES, report
from imustride.cli.talk import DONE, INCOMPLETE, Talk, columns, dry_run_option, talk_options

if TYPE_CHECKING:
    from collections.abc import Sequence

    from imustride.report.files import Page
    from imustride.report.index import Line
    from imustride.results import RunResult, SessionResult
    from imustride.settings import Settings


@dataclass(frozen=True, slots=True)
class Outcome:
    """How the analysis of one session ended."""

    status: int
    told: dict[str, Any]
    line: Line


@click.command(
    short_help="Sessions to results.", epilog="Example: imustride analyse recordings/demo --out results"
)
@click.argument("sessions", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="SESSION...")
@click.option(
    "--out",
    required=True,
    type=click.Path(path_type=Path),
    help="Folder to write; earlier results are replaced.",
)
@click.option("--orientation", metavar="FILTER", help="Filter for the attitude; an unknown one lists all.")
@click.option(
    "--language", default="en", show_default=True, help="Language of the page; an unknown one lists all."
)
@click.option(
    "--units",
    type=click.Choice(["metric", "imperial"]),
    default="metric",
    show_default=True,
    help="Units of the page: m, m/s; or ft, in, mph. The tables stay metric.",
)
@click.option("--pdf", is_flag=True, help="The page as PDF too: A4, with imperial units Letter. Extra: pdf.")
@click.option("--figures", is_flag=True, help="Every picture as SVG and PNG too, and its numbers as CSV.")
@dry_run_option
@talk_options
def analyse(
    talk: Talk,
    sessions: tuple[Path, ...],
    out: Path,
    orientation: str | None,
    language: str,
    units: Literal["metric", "imperial"],
    *,
    pdf: bool,
    figures: bool,
    dry_run: bool,
) -> int:
    """Find, time and measure every push of each SESSION folder, and compare left with right.

    One session is written to the folder of --out, several to a folder each inside it, with a list of their pages.
    """
    targets = _targets(sessions, out)
    settings = _settings(orientation)
    page = _page(language, units, pdf=pdf, figures=figures)
    outcomes = [
        _one(talk, session, target, settings, page, dry_run=dry_run)
        for session, target in zip(sessions, targets, strict=True)
    ]
    several = len(sessions) > 1 and not dry_run
    if several:
        _index(talk, [outcome.line for outcome in outcomes], out, language)
    listed = {"index": out / "index.html"} if several else {}
    talk.data({"sessions": [outcome.told for outcome in outcomes], **listed})
    statuses = {outcome.status for outcome in outcomes}
    return statuses.pop() if len(statuses) == 1 else INCOMPLETE


def _targets(sessions: Sequence[Path], out: Path) -> list[Path]:
    if len(sessions) == 1:
        return [out]
    names = [session.resolve().name for session in sessions]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        message = f"two sessions are both named {twice[0]!r} and would overwrite each other; analyse them one by one"
        raise click.UsageError(message)
    from imustride.report.index import check_index

    check_index(out)
    return [out / name for name in names]


def _index(talk: Talk, lines: Sequence[Line], out: Path, language: str) -> None:
    from imustride import pipeline

    pipeline.write_index(lines, out, language)
    talk.lines(["", f"list of the pages: {out / 'index.html'}"])


def _settings(orientation: str | None) -> Settings:
    from imustride import pipeline
    from imustride.registry import methods

    if orientation is None:
        return pipeline.Settings()
    known = methods("orientation")
    if orientation not in known:
        message = f"--orientation: found {orientation!r}, wanted one of {', '.join(known)}"
        raise click.UsageError(message)
    return pipeline.Settings(orientation=orientation)


def _page(language: str, units: Literal["metric", "imperial"], *, pdf: bool, figures: bool) -> Page:
    from imustride.report.catalogue import languages
    from imustride.report.files import Page
    from imustride.report.pdf import check_ready

    if language not in languages():
        message = f"--language: found {language!r}, wanted one of {', '.join(languages())}"
        raise click.UsageError(message)
    if pdf:
        check_ready()
    return Page(language, units, pdf=pdf, figures=figures)


def _one(
    talk: Talk, session: Path, target: Path, settings: Settings, page: Page, *, dry_run: bool
) -> Outcome:
    from imustride import pipeline
    from imustride.exporting import check_target
    from imustride.report.index import Line, index_line

    told = {"session": session, "out": target}
    try:
        check_target(target)
        talk.progress(f"analysing {session}")
        result = pipeline.analyse_session(session, settings)
        if not dry_run:
            pipeline.write_session(result, target, page)
    except FAILURES as error:
        status = report(error, talk)
        return Outcome(status, {**told, "error": str(error)}, Line(target.name))
    unread = [(run.name, problem) for run in result.runs for problem in _problems(run)]
    for name, problem in unread:
        talk.problem(f"{name}: {problem}")
    for note in result.notes:
        talk.problem(note)
    written = target / "summary.html"
    talk.lines(
        _readable(
            result,
            f"nothing written (dry run); the page would be {written}" if dry_run else f"page: {written}",
        )
    )
    return Outcome(
        INCOMPLETE if unread or result.problems else DONE,
        {**told, **_told(result, None if dry_run else written)},
        index_line(result, target.name, page.language, page.system),
    )


def _problems(run: RunResult) -> tuple[str, ...]:
    """What could not be read of a run."""
    return run.problems or (() if run.readable else (run.reason,))


def _told(result: SessionResult, page: Path | None) -> dict[str, Any]:
    tables = {"runs": result.runs_table, "symmetry": result.symmetry}
    rows = {
        name: table.astype(object).where(table.notna(), None).to_dict("records")
        for name, table in tables.items()
    }
    notes = [*result.notes, *_run_notes(result)]
    return {"athlete": result.session.athlete, **rows, "notes": notes, "page": page}


def _run_notes(result: SessionResult) -> list[str]:
    """What a reader of single runs should know."""
    return [f"{run.name}: {note}" for run in result.runs for note in run.notes]


def _readable(result: SessionResult, last: str) -> list[str]:
    from imustride.report.rows import headlines, run_rows, symmetry_rows

    session = result.session
    runs = [
        (row["name"], row["gate_time"], f"{row['left']} / {row['right']}", row["steps"], _counted(row))
        for row in run_rows(result.runs_table, result.pushes)
    ]
    lines = [f"{session.athlete}, {session.date}, {session.protocol}, {session.surface}", *result.notes, ""]
    lines += columns(
        [("run", "gate time [s]", "pushes L / R", "steps per second", ""), *runs], right=(1, 2, 3)
    )
    told = ("what", "left", "right", "against", "interval", "sizes", "verdict")
    rows = [tuple(row[name] for name in told) for row in symmetry_rows(headlines(result.symmetry))]
    if rows:
        heading = (
            "left and right (+: right larger)",
            "L",
            "R",
            "R to L",
            "95 % interval",
            "n L, R; runs",
            "",
        )
        lines += ["", *columns([heading, *rows], right=(1, 2, 3, 4))]
    notes = _run_notes(result)
    return [*lines, "", *([*notes, ""] if notes else []), last]


def _counted(row: dict[str, Any]) -> str:
    return "counts" if row["usable"] else f"left out: {row['reason']}"
