"""``imustride analyse``: sessions to results."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from imustride.cli.language import check_language
from imustride.cli.talk import INCOMPLETE, Talk, dry_run_option, talk_options

if TYPE_CHECKING:
    from collections.abc import Sequence

    from imustride.report.files import Page
    from imustride.report.index import Line
    from imustride.settings import Settings


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
@click.option(
    "--without",
    type=click.Choice(["paths"]),
    help="Leave out the paths of the blades, and with them lengths, speeds and angles to the lane: quicker.",
)
@click.option(
    "--workers",
    type=click.IntRange(min=1),
    default=1,
    show_default=True,
    metavar="N",
    help="Analyse N sessions at a time on this machine; the results are the same whatever N.",
)
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Have the sessions analysed by the workers of this Dask scheduler, such as tcp://rink:8786. Extra: cluster.",
)
@click.option(
    "--store",
    metavar="PLACE",
    help="Store of the season: the athlete's own typical error becomes the smallest difference that counts; default: "
    "IMUSTRIDE_STORE, else none.",
)
@click.option("--again", is_flag=True, help="Analyse also what would come out as it is there already.")
@click.option("--progress", is_flag=True, help="A progress bar on stderr also where that is no terminal.")
@dry_run_option
@talk_options
def analyse(
    talk: Talk,
    sessions: tuple[Path, ...],
    out: Path,
    orientation: str | None,
    language: str,
    units: Literal["metric", "imperial"],
    without: str | None,
    workers: int,
    cluster: str | None,
    store: str | None,
    *,
    pdf: bool,
    figures: bool,
    again: bool,
    progress: bool,
    dry_run: bool,
) -> int:
    """Find, time and measure every push of each SESSION folder, and compare left with right.

    One session is written to the folder of --out, several to a folder each inside it, with a list of their pages.
    Results that are there, whole and from the same files, settings and program, are kept: so an interrupted analysis of
    many is taken up again by the same command.
    """
    if cluster is not None and workers > 1:
        message = "--workers is for this machine, --cluster for others; give one of them"
        raise click.UsageError(message)
    from imustride.cli.all_sessions import analyse_all, told
    from imustride.cli.one_session import Job
    from imustride.cli.own_seasons import with_own_seasons

    targets = _targets(sessions, out)
    settings = _settings(orientation, without)
    page = _page(language, units, pdf=pdf, figures=figures)
    form: Literal["lines", "data", "nothing"] = (
        "data" if talk.as_json else "nothing" if talk.quiet else "lines"
    )
    jobs = [
        Job(session, target, settings, page, dry_run=dry_run, again=again, form=form)
        for session, target in zip(sessions, targets, strict=True)
    ]
    jobs = with_own_seasons(talk, jobs, store)
    outcomes = analyse_all(talk, jobs, workers, cluster, progress=progress)
    several = len(sessions) > 1 and not dry_run
    if several:
        _index(talk, [outcome.line for outcome in outcomes], out, language)
    listed = {"index": out / "index.html"} if several else {}
    talk.data({"sessions": [told(*both) for both in zip(jobs, outcomes, strict=True)], **listed})
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


def _settings(orientation: str | None, without: str | None) -> Settings:
    from imustride import pipeline
    from imustride.registry import methods

    settings = pipeline.Settings()
    if without == "paths":
        settings = replace(settings, track=replace(settings.track, longest_s=0.0))
    if orientation is None:
        return settings
    known = methods("orientation")
    if orientation not in known:
        message = f"--orientation: found {orientation!r}, wanted one of {', '.join(known)}"
        raise click.UsageError(message)
    return replace(settings, orientation=orientation)


def _page(language: str, units: Literal["metric", "imperial"], *, pdf: bool, figures: bool) -> Page:
    from imustride.report.files import Page
    from imustride.report.pdf import check_ready

    check_language(language)
    if pdf:
        check_ready()
    return Page(language, units, pdf=pdf, figures=figures)
