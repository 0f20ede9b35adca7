"""``imustride season``: sessions kept for years."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from imustride.cli import season_consent
from imustride.cli.season_add import add
from imustride.cli.season_compare import compare
from imustride.cli.season_forget import forget, remove
from imustride.cli.season_options import store_option
from imustride.cli.season_tables import export, table
from imustride.cli.talk import DONE, INCOMPLETE, Talk, columns, dry_run_option, talk_options

if TYPE_CHECKING:
    import pandas as pd


@click.group(
    short_help="Sessions kept for years.", epilog="Example: imustride season add results --store season.db"
)
def season() -> None:
    """Keep sessions, with consent, for years; get tables of them; forget a person.

    The store is one file (--store, or IMUSTRIDE_STORE, or in the user's own data), or a PostgreSQL server.
    """


@season.command(name="list", epilog="Example: imustride season list --athlete A07")
@click.option("--athlete", "athletes", multiple=True, metavar="CODE", help="Only this one; may be repeated.")
@click.option("--history", is_flag=True, help="Also what was corrected since.")
@store_option
@talk_options
def list_(talk: Talk, place: str | None, athletes: tuple[str, ...], *, history: bool) -> None:
    """Show athletes, whether their consent holds, and their sessions."""
    from imustride.season.consent import consent_problem
    from imustride.season.consented import athletes_of
    from imustride.season.reading import Chosen, read_sessions
    from imustride.season.store import open_store

    store = open_store(place)
    codes = athletes_of(store, athletes)
    problems = {code: consent_problem(store, code) for code in codes}
    sessions = read_sessions(store, Chosen(tuple(codes), history=history))
    talk.data(
        {
            "store": store.shown,
            "athletes": [{"athlete": code, "consent_problem": problem} for code, problem in problems.items()],
            "sessions": sessions.astype(object).where(sessions.notna(), None).to_dict("records"),
        }
    )
    talk.lines([f"{store.shown}: {len(codes)} athletes, {len(sessions)} sessions", ""])
    talk.lines(_rows(sessions))
    talk.lines(["", *(f"{code}: {problem or 'consent on record'}" for code, problem in problems.items())])


def _rows(sessions: pd.DataFrame) -> list[str]:
    heading = ("athlete", "date", "session", "revision", "runs", "protocol", "surface", "calibrated", "")
    shown = ["athlete", "date", "session", "revision", "runs", "protocol", "surface", "calibration"]
    cells = sessions[shown].astype(str).to_numpy(dtype=object).tolist()
    rows = [
        [*row, "corrected since" if superseded else ""]
        for row, superseded in zip(cells, sessions["superseded_at"], strict=True)
    ]
    return columns([heading, *rows], right=(3, 4))


@season.command(epilog="Example: imustride season check")
@store_option
@talk_options
def check(talk: Talk, place: str | None) -> int:
    """Check that the store holds together: every page of the file, every row, every count."""
    from imustride.season.store import open_store, problems

    store = open_store(place)
    found = problems(store)
    talk.data({"store": store.shown, "problems": found})
    for problem in found:
        talk.problem(f"{store.shown}: {problem}")
    if not found:
        talk.lines([f"{store.shown}: holds together"])
    return INCOMPLETE if found else DONE


@season.command(name="birth-year", epilog="Example: imustride season birth-year A07 2011")
@click.argument("athlete")
@click.argument("year", type=click.IntRange(1900, 2200))
@store_option
@dry_run_option
@talk_options
def birth_year(talk: Talk, place: str | None, athlete: str, year: int, *, dry_run: bool) -> None:
    """Correct the year of birth of ATHLETE."""
    from imustride.season.people import set_birth_year
    from imustride.season.store import open_store

    set_birth_year(open_store(place), athlete, year, dry_run=dry_run)
    talk.data({"athlete": athlete, "birth_year": year})
    talk.lines([f"{athlete}: born in {year}{' (dry run, not kept)' if dry_run else ''}"])


for command in (add, compare, table, export, remove, forget, season_consent.consent):
    season.add_command(command)
