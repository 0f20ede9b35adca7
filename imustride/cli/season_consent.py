"""``imustride season consent``: who consented to what, until when."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from imustride.cli.season_options import DAY, day, store_option, today
from imustride.cli.talk import Talk, dry_run_option, talk_options

if TYPE_CHECKING:
    import datetime as dt

    from imustride.season.consent import Consent


@click.group(
    short_help="Who consented to what, until when.",
    epilog="Example: imustride season consent record A07 --by guardian --assent --birth-year 2012",
)
def consent() -> None:
    """Record, show and withdraw consent. Nothing is compared, and no table written, without one that holds."""


@consent.command(
    epilog="Example: imustride season consent record A07 --by guardian --assent --birth-year 2012"
)
@click.argument("athlete")
@click.option(
    "--by", "given_by", required=True, type=click.Choice(["self", "parent", "guardian"]), help="Who gave it."
)
@click.option("--date", "given_on", type=DAY, help="When it was given; default: today.")
@click.option("--expires", type=DAY, help="Last day on which it holds; default: no end.")
@click.option(
    "--scope",
    multiple=True,
    type=click.Choice(["season", "group"]),
    default=("season", "group"),
    show_default=True,
    help="What it covers: the athlete's own course; tables and pages of several. May be repeated.",
)
@click.option("--assent/--no-assent", default=None, help="Whether the child agrees too; needed for minors.")
@click.option(
    "--birth-year", type=click.IntRange(1900, 2200), help="Needed once: it tells whose consent counts."
)
@store_option
@dry_run_option
@talk_options
def record(
    talk: Talk,
    place: str | None,
    athlete: str,
    given_by: str,
    given_on: dt.datetime | None,
    expires: dt.datetime | None,
    scope: tuple[str, ...],
    birth_year: int | None,
    *,
    assent: bool | None,
    dry_run: bool,
) -> None:
    """Put the consent for ATHLETE (a code) on record; it takes the place of earlier ones."""
    from imustride.season.consent import Consent, record_consent
    from imustride.season.store import open_store

    given = Consent(given_by, day(given_on) or today(), scope, day(expires), assent)
    store = open_store(place, create=True)
    record_consent(store, athlete, given, birth_year=birth_year, dry_run=dry_run)
    talk.data({"athlete": athlete, **asdict(given)})
    talk.lines([f"{athlete}: {_line(given)}{' (dry run, not kept)' if dry_run else ''}"])


@consent.command(epilog="Example: imustride season consent show A07")
@click.argument("athlete")
@store_option
@talk_options
def show(talk: Talk, place: str | None, athlete: str) -> None:
    """Show the consents on record for ATHLETE, and whether one holds today."""
    from imustride.season.consent import SCOPES, consent_problem, consents_of
    from imustride.season.store import open_store

    store = open_store(place)
    given = consents_of(store, athlete)
    problems = {scope: consent_problem(store, athlete, scope) for scope in SCOPES}
    talk.data({"athlete": athlete, "consents": [asdict(entry) for entry in given], "problems": problems})
    talk.lines(
        [
            *map(_line, given),
            *(f"{scope}: {problem or 'consent holds'}" for scope, problem in problems.items()),
        ]
    )


@consent.command(epilog="Example: imustride season consent withdraw A07")
@click.argument("athlete")
@click.option("--date", "on", type=DAY, help="From when; default: today.")
@store_option
@dry_run_option
@talk_options
def withdraw(talk: Talk, place: str | None, athlete: str, on: dt.datetime | None, *, dry_run: bool) -> None:
    """Withdraw every consent of ATHLETE. The data stay, unused, until `imustride season forget`."""
    from imustride.season.consent import withdraw_consent
    from imustride.season.store import open_store

    when = day(on) or today()
    count = withdraw_consent(open_store(place), athlete, when, dry_run=dry_run)
    talk.data({"athlete": athlete, "withdrawn": count, "on": when.isoformat()})
    kept = " (dry run, not kept)" if dry_run else ""
    talk.lines(
        [
            f"{athlete}: {count} consents withdrawn on {when}{kept}; the data stay until `imustride season forget`"
        ]
    )


def _line(given: Consent) -> str:
    parts = [f"consent of {given.given_on}, given by: {given.given_by}, covers {', '.join(given.scope)}"]
    if given.assent is not None:
        parts.append("the child agrees" if given.assent else "the child does not agree")
    if given.expires_on is not None:
        parts.append(f"until {given.expires_on}")
    if given.withdrawn_on is not None:
        parts.append(f"withdrawn on {given.withdrawn_on}")
    return ", ".join(parts)
