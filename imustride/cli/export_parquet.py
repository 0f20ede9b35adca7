"""``imustride export parquet``: a session whose logs are Parquet."""

from __future__ import annotations

from pathlib import Path

import click

from imustride.cli.talk import DONE, INCOMPLETE, Talk, dry_run_option, talk_options


@click.command(
    short_help="Parquet: logs and tables of results.",
    epilog="Example: imustride export parquet recordings/demo parquet",
)
@click.argument("session", type=click.Path(path_type=Path))
@click.argument("out", type=click.Path(path_type=Path))
@dry_run_option
@talk_options
def parquet(talk: Talk, session: Path, out: Path, *, dry_run: bool) -> int:
    """Write SESSION to OUT, a new session folder, with every log as Parquet. Extra: research.

    Logs are what was logged, to the last bit; `imustride analyse OUT` gives the same results. The tables of results
    are in OUT/results.
    """
    from imustride import sharing

    talk.progress(f"exporting {session}")
    problems = sharing.export_parquet(session, out, dry_run=dry_run)
    for problem in problems:
        talk.problem(problem)
    talk.data({"session": session, "out": out, "problems": problems})
    talk.lines(
        [
            f"nothing written (dry run): session with Parquet logs {out}"
            if dry_run
            else f"session with Parquet logs: {out}"
        ]
    )
    return INCOMPLETE if problems else DONE
