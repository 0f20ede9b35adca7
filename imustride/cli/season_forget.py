"""``imustride season forget`` and ``remove``: what leaves the store."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from imustride.cli.season_options import DAY, store_option
from imustride.cli.talk import Talk, dry_run_option, talk_options

if TYPE_CHECKING:
    import datetime as dt

    from imustride.keeping.forgetting import Forgotten

YES = click.option("--yes", is_flag=True, help="Do not ask; needed where there is no terminal.")


@click.command(epilog="Example: imustride season forget --athlete A07 --dry-run")
@click.option("--athlete", required=True, metavar="CODE", help="Whom to forget.")
@click.option("--originals", is_flag=True, help="Remove the raw files in the session folders too.")
@YES
@store_option
@dry_run_option
@talk_options
def forget(talk: Talk, place: str | None, athlete: str, *, originals: bool, yes: bool, dry_run: bool) -> None:
    """Remove everything about one person, until no byte is left.

    Rows, archived raw logs, the folders of results, tables and exports that tell of them, backups of the store; then the
    room they took. Tells what nobody can call back.
    """
    from imustride import keeping
    from imustride.season.store import open_store

    store = open_store(place)
    if not dry_run:
        _confirm(f"Forget {athlete} for good?", yes=yes)
    done = keeping.forget(store, athlete, originals=originals, dry_run=dry_run)
    talk.data(
        {
            "athlete": athlete,
            "dry_run": dry_run,
            "rows": done.rows,
            "removed": list(done.removed),
            "left": list(done.left),
        }
    )
    talk.lines(_lines(done, dry_run=dry_run))


def _lines(done: Forgotten, *, dry_run: bool) -> list[str]:
    rows = ", ".join(f"{count} {name}" for name, count in done.rows.items())
    return [
        f"{done.athlete}: {'would be removed' if dry_run else 'removed'}: {rows}",
        *(f"  {path}" for path in done.removed),
        "Not in reach, to be seen to by hand:",
        *(f"  {what}" for what in done.left),
    ]


@click.command(epilog="Example: imustride season remove A07 --date 2026-10-03 --session evening")
@click.argument("athlete")
@click.option("--date", required=True, type=DAY, help="Of the session.")
@click.option("--session", required=True, help="Name of the session's folder, as `season list` shows it.")
@YES
@store_option
@dry_run_option
@talk_options
def remove(
    talk: Talk, place: str | None, athlete: str, date: dt.datetime, session: str, *, yes: bool, dry_run: bool
) -> None:
    """Take a session of ATHLETE that was added by mistake out of the store, with its history."""
    from imustride.season.forgetting import delete_session
    from imustride.season.store import open_store

    store, on = open_store(place), date.date().isoformat()
    if not dry_run:
        _confirm(f"Remove the session {session} of {athlete} on {on}?", yes=yes)
    gone = delete_session(store, athlete, on, session, dry_run=dry_run)
    talk.data({"athlete": athlete, "date": on, "session": session, "revisions": gone})
    talk.lines(
        [f"{athlete}, {on}, {session}: {gone} revisions removed{' (dry run, not kept)' if dry_run else ''}"]
    )


def _confirm(question: str, *, yes: bool) -> None:
    if yes:
        return
    if not sys.stdin.isatty():
        message = (
            "no terminal to ask on; repeat with --yes to do it, or with --dry-run to see what it would do"
        )
        raise click.UsageError(message)
    click.confirm(question, abort=True, err=True)
