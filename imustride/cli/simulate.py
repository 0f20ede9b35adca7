"""``imustride simulate``: an invented session, to try the program with."""

from __future__ import annotations

from pathlib import Path

import click

from imustride.cli.talk import Talk, dry_run_option, talk_options
from imustride.errors import SettingsError

RUNS, SEASON_RUNS = 4, 2


@click.command(
    short_help="An invented session to try things on.",
    epilog="Example: imustride simulate --out invented --runs 4 --seed 1",
)
@click.option(
    "--out", required=True, type=click.Path(path_type=Path), help="Session folder to make; must not exist."
)
@click.option(
    "--runs",
    type=click.IntRange(1, 50),
    help="Number of runs, of a season in each session.  [default: 4, of a season 2]",
)
@click.option(
    "--seed", default=1, show_default=True, type=click.IntRange(0), help="Equal seeds give equal sessions."
)
@click.option("--body", is_flag=True, help="Sensors on the whole body, not on the skates alone.")
@click.option(
    "--season", is_flag=True, help="A season instead: a session folder an athlete and day, two true changes."
)
@click.option("--athletes", default=4, show_default=True, type=click.IntRange(3, 99), help="Of a season.")
@click.option(
    "--sessions",
    default=8,
    show_default=True,
    type=click.IntRange(1, 50),
    help="Of each athlete of a season.",
)
@dry_run_option
@talk_options
def simulate(
    talk: Talk,
    out: Path,
    runs: int | None,
    seed: int,
    athletes: int,
    sessions: int,
    *,
    body: bool,
    season: bool,
    dry_run: bool,
) -> None:
    """Write a session folder of an invented athlete, with the truth of every push beside it.

    With --season a folder of session folders, and in season.csv what truly changed.
    """
    from imustride import pipeline

    if body and season:
        message = "--season has sensors on the skates alone; leave out --body"
        raise click.UsageError(message)
    count = runs or (SEASON_RUNS if season else RUNS)
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        message = f"{out}: found files there, wanted a new or empty folder; choose another --out"
        raise SettingsError(message)
    if season:
        if not dry_run:
            talk.progress(f"simulating {athletes} athletes, {sessions} sessions each, {count} runs in each")
            pipeline.simulate_season(out, athletes, sessions, count, seed)
        asked = {"athletes": athletes, "sessions": sessions, "runs": count, "seed": seed}
        talk.data({"season": out, **asked, "written": not dry_run})
        talk.lines([f"would write the season {out}" if dry_run else f"season: {out}"])
        return
    if not dry_run:
        talk.progress(f"simulating {count} runs")
        pipeline.simulate(out, runs=count, seed=seed, body=body)
    talk.data({"session": out, "runs": count, "seed": seed, "written": not dry_run})
    talk.lines([f"would write the session {out}" if dry_run else f"session: {out}"])
