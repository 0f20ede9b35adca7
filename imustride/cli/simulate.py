"""``imustride simulate``: an invented session, to try the program with."""

from __future__ import annotations

from pathlib import Path

import click

from imustride.cli.talk import Talk, dry_run_option, talk_options
from imustride.errors import SettingsError


@click.command(
    short_help="An invented session to try things on.",
    epilog="Example: imustride simulate --out invented --runs 4 --seed 1",
)
@click.option(
    "--out", required=True, type=click.Path(path_type=Path), help="Session folder to make; must not exist."
)
@click.option("--runs", default=4, show_default=True, type=click.IntRange(1, 50), help="Number of runs.")
@click.option(
    "--seed", default=1, show_default=True, type=click.IntRange(0), help="Equal seeds give equal sessions."
)
@click.option("--body", is_flag=True, help="Sensors on the whole body, not on the skates alone.")
@dry_run_option
@talk_options
def simulate(talk: Talk, out: Path, runs: int, seed: int, *, body: bool, dry_run: bool) -> None:
    """Write a session folder of an invented athlete, with the truth of every push beside it."""
    from imustride import pipeline

    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        message = f"{out}: found files there, wanted a new or empty folder; choose another --out"
        raise SettingsError(message)
    if not dry_run:
        talk.progress(f"simulating {runs} runs")
        pipeline.simulate(out, runs=runs, seed=seed, body=body)
    talk.data({"session": out, "runs": runs, "seed": seed, "written": not dry_run})
    talk.lines([f"would write the session {out}" if dry_run else f"session: {out}"])
