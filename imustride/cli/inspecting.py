"""``imustride inspect``: what is in a file or a session."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from imustride.cli.talk import DONE, INCOMPLETE, Talk, talk_options


@click.command(
    short_help="What is in a session or a file.", epilog="Example: imustride inspect recordings/demo"
)
@click.argument("path", type=click.Path(path_type=Path))
@talk_options
def inspect(talk: Talk, path: Path) -> int:
    """Tell what is in a session folder or one file: rate, jitter, gaps, clipping, gravity, likely wrong units.

    Exit status 3 where a file could not be read or holds what would make results wrong.
    """
    from imustride import inspection

    reports = inspection.inspect(path)
    talk.data([asdict(report) for report in reports])
    talk.lines(inspection.render(reports).splitlines())
    wrong = any(report.problem or any(f.level == "error" for f in report.findings) for report in reports)
    return INCOMPLETE if wrong else DONE
