"""``imustride check``: are the sensors fit, and can a run be kept."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from imustride.cli.talk import DONE, INCOMPLETE, Talk, columns, dry_run_option, talk_options

if TYPE_CHECKING:
    from collections.abc import Sequence

    from imustride.results import CheckLine, CheckReport, RunAdvice

SUMMARY = {
    "pass": "all sensors pass",
    "warn": "all sensors pass, with warnings",
    "fail": "NOT FIT: see the lines that fail",
    "not told": "nothing could be told",
}


@click.command(
    short_help="Are the sensors fit; can a run be kept.", epilog="Example: imustride check recordings/demo"
)
@click.argument(
    "paths", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="SESSION|PLACE=FILE..."
)
@click.option("--run", "run", metavar="NAME", help="Only this run: keep it, or repeat it because ...")
@click.option(
    "--fitting",
    is_flag=True,
    help="The guided form before anybody skates: stand still 3 s, both heels twice, tap left, tap right.",
)
@click.option(
    "--columns",
    "columns_file",
    type=click.Path(path_type=Path),
    metavar="TOML",
    help="For files: a session.toml, or one with its [columns], [units] and [[sensors]].",
)
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="HTML", help="Write a one-page record for the file."
)
@dry_run_option
@talk_options
def check(
    talk: Talk,
    paths: tuple[Path, ...],
    run: str | None,
    columns_file: Path | None,
    out: Path | None,
    *,
    fitting: bool,
    dry_run: bool,
) -> int:
    """Check every sensor of a SESSION, or of single files: pass, warn or fail, and what to do.

    Rate, jitter, gaps, range, clipping, bandwidth, noise, gravity, gyroscope, axes, tilt, tight mounting, calibration, left
    and right, shared shocks, clocks, end of the log, protocol; off the skates standing and squats, place, joined to the skates.
    What several sensors have in common is one line; --json has one a sensor. Exit status 3 where something failed; warnings pass.
    """
    from imustride import fitting as wiring

    if out is not None:
        refuse_other_file(out)
    files = given_files(paths)
    if files is None:
        if columns_file is not None:
            message = "--columns: a session says itself how its files are read; leave --columns out"
            raise click.UsageError(message)
        report = wiring.check_session(paths[0], run, fitting=fitting)
    else:
        if columns_file is None or run is not None:
            message = (
                "--run needs a session"
                if run is not None
                else "files need --columns TOML: units are never guessed"
            )
            raise click.UsageError(message)
        report = wiring.check_files(files, columns_file, fitting=fitting)
    if out is not None and not dry_run:
        write(report, out)
    talk.data(in_json(report, None if dry_run else out))
    talk.lines(readable(report))
    if out is not None:
        talk.lines(
            [f"record: {out}" if not dry_run else f"nothing written (dry run); the record would be {out}"]
        )
    return INCOMPLETE if failed(report) else DONE


def failed(report: CheckReport) -> bool:
    """Whether something failed, or a run should be repeated."""
    return report.verdict == "fail" or (report.advice is not None and report.advice.verdict == "repeat")


def given_files(paths: Sequence[Path]) -> dict[str, Path] | None:
    """Return files by place; None where a session is given."""
    if len(paths) == 1 and "=" not in paths[0].name and (paths[0].is_dir() or paths[0].suffix == ".toml"):
        return None
    files: dict[str, Path] = {}
    for path in paths:
        place, mark, file = str(path).partition("=")
        if not mark:
            place, file = path.name.split(".", maxsplit=1)[0], str(path)
            if len(paths) == 1 and not path.is_file():
                message = f"{path}: no such session folder or file; wanted a SESSION, or PLACE=FILE such as left_skate=a.csv"
                raise click.UsageError(message)
        if place in files:
            message = f"{place}: given twice; wanted one file a place"
            raise click.UsageError(message)
        files[place] = Path(file)
    return files


def refuse_other_file(out: Path) -> None:
    """Refuse to write over what is no record of a check."""
    from imustride.errors import SettingsError
    from imustride.report.check import MARK
    from imustride.report.pages import holds

    if (out.exists() or out.is_symlink()) and not holds(out, MARK):
        message = f"{out}: found another file there; wanted a new one, or an earlier record of a check; choose another --out"
        raise SettingsError(message)


def write(report: CheckReport, out: Path) -> None:
    """Write the page, whole or not at all."""
    from imustride.exporting.swap import write_whole
    from imustride.report.check import check_page

    write_whole(out, check_page(report))


def in_json(report: CheckReport, page: Path | None) -> dict[str, Any]:
    """Return the report as plain data."""
    plain = asdict(report)
    if report.advice is None:
        plain.pop("advice")
    return {"verdict": report.verdict, "failed": failed(report), **plain, "page": page}


def readable(report: CheckReport) -> list[str]:
    """Return the report as lines of text."""
    several = len(report.recordings) > 1
    lines = [f"{report.title}: " + ", ".join(f"{name} {value}" for name, value in report.facts.items())]
    if report.missing:
        lines.append(f"not recorded yet: {', '.join(report.missing)}")
    heading = ("", "check", "where", "measured", *(("in",) if several else ()), "limit")
    rows = [heading, *(row(line, where, several=several) for line, where in report.brief)]
    lines += ["", *columns(rows)]
    todo = [f"{line.verdict}: {line.title}, {where}: {line.advice}" for line, where in report.to_do]
    lines += ["", *todo] if todo else []
    lines += ["", *sensor_lines(report)]
    lines += ["", *advice_lines(report.advice)] if report.advice else ["", SUMMARY[report.verdict]]
    return lines


def sensor_lines(report: CheckReport) -> list[str]:
    """Return one line a sensor: its worst verdict, and which checks say so; one for all of which the same is said."""
    from imustride.results import FEW, named_or_counted

    alike: dict[str, dict[str, str]] = {}
    for where in dict.fromkeys(line.where for line in report.worst):
        own = [line for line in report.worst if line.where == where]
        said = {
            verdict: [line.title for line in own if line.verdict == verdict] for verdict in ("fail", "warn")
        }
        words = "; ".join(f"{verdict}: {', '.join(titles)}" for verdict, titles in said.items() if titles)
        alike.setdefault(words or "pass", {})[where] = own[0].device
    count = len({line.where for line in report.worst if line.device})
    lines = []
    for words, places in alike.items():
        worn = [place for place, device in places.items() if device]
        if len(worn) > FEW:
            lines.append(f"{named_or_counted(worn, count)}: {words}")
        lines += [
            f"{place} ({device}): {words}" if device else f"{place}: {words}"
            for place, device in places.items()
            if len(worn) <= FEW or not device
        ]
    return lines


def row(line: CheckLine, where: str, *, several: bool) -> tuple[str, ...]:
    """Return one line as cells."""
    mark = line.verdict.upper() if line.verdict in {"warn", "fail"} else line.verdict
    return (mark, line.title, where, line.measured, *((line.recording,) if several else ()), line.limit)


def advice_lines(advice: RunAdvice) -> list[str]:
    """Return whether a run can be kept, and why not."""
    lines = [f"{advice.run}: {advice.verdict}" + (" because:" if advice.because else "")]
    lines += [f"  - {reason}" for reason in advice.because]
    if advice.correct:
        lines += ["correct, then ask again:", *(f"  - {what}" for what in advice.correct)]
    if advice.notes and not advice.because:
        lines += ["to know:", *(f"  - {note}" for note in advice.notes)]
    return lines
