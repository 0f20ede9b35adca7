"""``imustride export bids``: a session and its results as a Motion-BIDS dataset."""

from __future__ import annotations

from pathlib import Path

import click

from imustride.cli.talk import DONE, INCOMPLETE, Talk, dry_run_option, talk_options


@click.command(
    short_help="Motion-BIDS: recordings, events, results.",
    epilog="Example: imustride export bids recordings/demo bids",
)
@click.argument("session", type=click.Path(path_type=Path))
@click.argument("out", type=click.Path(path_type=Path))
@click.option(
    "--results",
    type=click.Path(path_type=Path),
    help="Results of this session; without them it is analysed.",
)
@dry_run_option
@talk_options
def bids(talk: Talk, session: Path, out: Path, results: Path | None, *, dry_run: bool) -> int:
    """Write SESSION and its results as a Motion-BIDS dataset to OUT, a new folder.

    `imustride analyse OUT` gives the same results. The athlete's code is the subject's label.
    """
    from imustride import sharing

    talk.progress(f"exporting {session}")
    problems = sharing.export_bids(session, out, results, dry_run=dry_run)
    for problem in problems:
        talk.problem(problem)
    talk.data({"session": session, "out": out, "problems": problems})
    talk.lines(
        [
            f"nothing written (dry run): Motion-BIDS dataset {out}"
            if dry_run
            else f"Motion-BIDS dataset: {out}"
        ]
    )
    return INCOMPLETE if problems else DONE
