"""``imustride prepare``: session folders from the day's list."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from imustride.cli.language import check_language
from imustride.cli.prepare_cut import cut_data, cut_lines
from imustride.cli.progress import counting
from imustride.cli.talk import DONE, INCOMPLETE, Talk, columns, dry_run_option, talk_options

if TYPE_CHECKING:
    import datetime as dt

    from imustride.day import DayFiles, Prepared


@click.command(
    short_help="Session folders from the day's list.",
    epilog="Example: imustride prepare recordings/evening/roster.csv --out evening",
)
@click.argument("roster", type=click.Path(path_type=Path), metavar="ROSTER.csv")
@click.option("--out", required=True, type=click.Path(path_type=Path), help="Folder for the sessions.")
@click.option(
    "--kit", type=click.Path(path_type=Path), help="Devices, columns, units; default: kit.toml beside it."
)
@click.option(
    "--logs", type=click.Path(path_type=Path), help="Folder of the logs; default: that of the list."
)
@click.option("--date", type=click.DateTime(["%Y-%m-%d"]), help="Of all lines, where the list has none.")
@click.option("--sheet-only", is_flag=True, help="Before the test: only the list and the sheet.")
@click.option("--link", is_flag=True, help="Hard links to the logs instead of copies.")
@click.option("--cut", is_flag=True, help="Logs hold many runs: find each, by shocks, stances, gate times.")
@click.option("--partial", is_flag=True, help="With --cut: write what was matched, leave out the rest.")
@click.option(
    "--language", default="en", show_default=True, help="Language of cut.html; an unknown one lists all."
)
@click.option("--delimiter", metavar="MARK", help="Of the list; default: found out, and told.")
@click.option("--encoding", metavar="NAME", help="Of the list; default: UTF-8.")
@dry_run_option
@talk_options
def prepare(
    talk: Talk,
    roster: Path,
    out: Path,
    kit: Path | None,
    logs: Path | None,
    date: dt.datetime | None,
    delimiter: str | None,
    encoding: str | None,
    language: str,
    *,
    sheet_only: bool,
    link: bool,
    cut: bool,
    partial: bool,
    dry_run: bool,
) -> int:
    """Make session folders, a list with start feet, and a sheet for the boards from the day's list.

    Every fault of the list is named at once, and nothing is written while there is one: codes and runs that are there twice, an
    athlete or a sensor at two places at a time, files that are missing. Exit status 3 then.

    With --cut one log a sensor holds the whole evening. What cannot be told for sure is named, and nothing is written but cut.html and its
    pictures, which show what was found; start_s and end_s in the list say it instead.
    """
    from imustride import day

    if partial and not cut:
        message = "--partial: goes with --cut only"
        raise click.UsageError(message)
    if cut and (link or sheet_only):
        message = f"--cut: not with {'--link' if link else '--sheet-only'}"
        raise click.UsageError(message)

    check_language(language)
    if delimiter is not None:
        delimiter = {"tab": "\t", "\\t": "\t"}.get(delimiter, delimiter)
        if len(delimiter) != 1:
            message = f"--delimiter: found {delimiter!r}, wanted one character, or tab"
            raise click.UsageError(message)
    files = day.DayFiles(
        roster,
        roster.parent / "kit.toml" if kit is None else kit,
        roster.parent if logs is None else logs,
        out,
        None if date is None else date.date(),
        delimiter,
        encoding,
        sheet_only,
        link,
        cut,
        partial,
        language,
    )
    return _prepare(talk, files, dry_run=dry_run)


def _prepare(talk: Talk, files: DayFiles, *, dry_run: bool) -> int:
    from imustride import day

    out = files.out
    with counting("reading", shown=files.cut and not talk.quiet) as told:
        prepared = day.prepare_day(files, told)
    notes = list(prepared.plan.notes)
    for problem in (*prepared.problems, *prepared.left_out):
        talk.problem(problem)
    page = None if dry_run else day.write_cut(files, prepared)
    if page is not None:
        talk.progress(f"the cut: {page}")
    written = not (prepared.problems or dry_run)
    if written:
        talk.progress(f"writing to {out}")
        with counting("writing", shown=not talk.quiet) as told:
            notes += day.write_day(files, prepared, told)
    for note in notes:
        talk.progress(f"note: {note}")
    talk.data(
        {
            **day.as_data(prepared),
            "left_out": list(prepared.left_out),
            "cut": cut_data(prepared.cut),
            "out": out if written else None,
        }
    )
    talk.lines([*cut_lines(prepared.cut), *_readable(prepared, out, written=written)])
    return INCOMPLETE if prepared.problems or prepared.left_out else DONE


def _readable(prepared: Prepared, out: Path, *, written: bool) -> list[str]:
    from imustride.day import LIST, SHEET, day_rows

    rows = day_rows(prepared.plan)
    lines = []
    if rows:
        devices = [name for name in rows[0] if name.endswith("_device")]
        shown = ("time", "athlete", "run", "start_foot", *devices, "session")
        heading = tuple(name.removesuffix("_device").replace("_", " ") for name in shown)
        lines = columns([heading, *(tuple(row[name] for name in shown) for row in rows)])
    if prepared.problems:
        count = len(prepared.problems)
        return [*lines, "", f"nothing written: {count} problem{'s' if count > 1 else ''} to correct"]
    made = len(prepared.texts) - len(prepared.kept)
    told = (
        f"{made} session{'' if made == 1 else 's'}, {len(prepared.kept)} there already"
        if prepared.texts
        else "no sessions"
    )
    if not written:
        return [*lines, "", f"nothing written (dry run); would be in {out}: {told}, {LIST}, {SHEET}"]
    return [*lines, "", f"written to {out}: {told}, {LIST}, {SHEET}"]
