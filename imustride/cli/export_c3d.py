"""``imustride export c3d``: a session whose logs are C3D."""

from __future__ import annotations

from pathlib import Path

import click

from imustride.cli.talk import DONE, INCOMPLETE, Talk, dry_run_option, talk_options


@click.command(
    short_help="C3D: analog channels, sampled evenly.",
    epilog="Example: imustride export c3d recordings/demo c3d",
)
@click.argument("session", type=click.Path(path_type=Path))
@click.argument("out", type=click.Path(path_type=Path))
@dry_run_option
@talk_options
def c3d(talk: Talk, session: Path, out: Path, *, dry_run: bool) -> int:
    """Write SESSION to OUT, a new session folder, with every log as C3D. Extra: c3d.

    Samples lie on an even grid and are 32-bit floats, as C3D wants; those that stand in for lost ones are marked.
    """
    from imustride import sharing

    talk.progress(f"exporting {session}")
    problems = sharing.export_c3d(session, out, dry_run=dry_run)
    for problem in problems:
        talk.problem(problem)
    talk.data({"session": session, "out": out, "problems": problems})
    talk.lines(
        [
            f"nothing written (dry run): session with C3D logs {out}"
            if dry_run
            else f"session with C3D logs: {out}"
        ]
    )
    return INCOMPLETE if problems else DONE
