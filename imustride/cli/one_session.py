"""One session to results, in this process or another: everything there is to tell of it is returned."""

from __future__ import annotations

import traceback
from dataclasses import asdict, dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

from imustride.cli.failures import FAILURES, said, status_of
from imustride.cli.talk import DONE, FAILED, INCOMPLETE, columns

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from imustride.keeping.own_error import OwnSeason
    from imustride.metrics.symmetry import SmallestDifference
    from imustride.report.files import Page
    from imustride.report.index import Line
    from imustride.results import SessionResult
    from imustride.settings import Settings


@dataclass(frozen=True, slots=True)
class Job:
    """A session to analyse.

    Parameters
    ----------
    session, target : Path
        Where it is, and the folder to write.
    settings : Settings
    page : Page
    dry_run : bool
        Do everything but write.
    again : bool
        Also where results are there that would come out the same.
    form : "lines", "data" or "nothing"
        What will be told of it beside problems.
    own : OwnSeason or None
        What the season knows of the athlete.
    """

    session: Path
    target: Path
    settings: Settings
    page: Page
    dry_run: bool = False
    again: bool = False
    form: Literal["lines", "data", "nothing"] = "lines"
    own: OwnSeason | None = None


@dataclass(frozen=True, slots=True)
class Outcome:
    """How the analysis of one session ended; small, whatever the session's length.

    Parameters
    ----------
    status : int
        Exit status.
    line : Line
        In the list of the day.
    problems : tuple of str
        For stderr.
    lines : tuple of str
        The readable result.
    told : dict
        The result as data.
    trace : str
        Traceback of an error.
    kept : bool
        Whether earlier results stand.
    """

    status: int
    line: Line
    problems: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()
    told: dict[str, Any] = field(default_factory=dict)
    trace: str = ""
    kept: bool = False


def analyse_one(job: Job) -> Outcome:
    """Analyse a session and write its results, unless they are there; whatever goes wrong is told in the outcome."""
    try:
        kept = _kept(job)
        return _made(job) if kept is None else _told_kept(job, kept)
    except FAILURES as error:
        return failed(job, said(error), status_of(error), traceback.format_exc())
    except Exception as error:  # noqa: BLE001 - one session never stops the rest
        from imustride.many.lost import unexpected

        return failed(job, f"{job.session}: {unexpected(error)}", FAILED, traceback.format_exc())


def failed(job: Job, reason: str, status: int = FAILED, trace: str = "") -> Outcome:
    """Return the outcome of a session without results."""
    from imustride.report.index import Line

    return Outcome(status, Line(job.target.name), (reason,), told={"error": reason}, trace=trace)


def _kept(job: Job) -> SessionResult | None:
    from imustride.exporting import check_target

    check_target(job.target)
    if job.again or job.dry_run or not job.target.is_dir():
        return None
    from imustride.exporting.kept import kept_results
    from imustride.keeping.own_error import same_smallest
    from imustride.loaders import open_session

    found = kept_results(
        job.target, lambda: open_session(job.session), asdict(job.settings), asdict(job.page)
    )
    return (
        found
        if found is None or same_smallest(found.symmetry, _smallest(job, found.provenance["session"]))
        else None
    )


def _smallest(job: Job, facts: Mapping[str, Any]) -> Mapping[str | tuple[str, str], SmallestDifference]:
    """Return the athlete's own typical errors as far as the season knows them."""
    from imustride.keeping.own_error import smallest_differences

    return {} if job.own is None else smallest_differences(job.own, facts)


def _told_kept(job: Job, result: SessionResult) -> Outcome:
    lines = (
        "kept: these results came from the same files, settings and program; --again makes them anew",
        *result.notes,
    )
    return Outcome(
        DONE,
        _line(job, result),
        lines=lines if job.form == "lines" else (),
        told={**_data(result), "kept": True} if job.form == "data" else {},
        kept=True,
    )


def _made(job: Job) -> Outcome:
    from imustride import pipeline
    from imustride.exporting.declared import session_facts

    result = pipeline.analyse_session(job.session, job.settings)
    if job.own is not None:
        smallest = _smallest(job, session_facts(result))
        compared = pipeline.compare(result.session, result.runs, result.pushes, job.settings, smallest)
        result = replace(result, symmetry=compared)
    if not job.dry_run:
        pipeline.write_session(result, job.target, job.page)
    unread = [f"{run.name}: {problem}" for run in result.runs for problem in run.unread]
    return Outcome(
        INCOMPLETE if unread or result.problems else DONE,
        _line(job, result),
        (*unread, *result.notes),
        tuple(_readable(result)) if job.form == "lines" else (),
        _data(result) if job.form == "data" else {},
    )


def _line(job: Job, result: SessionResult) -> Line:
    from imustride.report.index import index_line

    return index_line(result, job.target.name, job.page.language, job.page.system)


def _data(result: SessionResult) -> dict[str, Any]:
    tables = {"runs": result.runs_table, "symmetry": result.symmetry}
    rows = {
        name: table.astype(object).where(table.notna(), None).to_dict("records")
        for name, table in tables.items()
    }
    notes = [*result.notes, *_run_notes(result)]
    return {"athlete": result.session.athlete, **rows, "notes": notes}


def _run_notes(result: SessionResult) -> list[str]:
    """What a reader of single runs should know."""
    return [f"{run.name}: {note}" for run in result.runs for note in run.notes]


def _readable(result: SessionResult) -> list[str]:
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
    return [*lines, "", *([*notes, ""] if notes else [])]


def _counted(row: dict[str, Any]) -> str:
    return "counts" if row["usable"] else f"left out: {row['reason']}"
