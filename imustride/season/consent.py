"""Consent: who gave it, when, for what, until when; and the reason why it does not hold.

The rules are common practice for research with minors (a parent's or guardian's consent, and the child's own
agreement; General Data Protection Regulation, articles 6 to 9), not legal advice. Only the year of birth is known: the
year in which an athlete comes of age counts for both sides, from the year after only the athlete's own consent holds.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import sqlalchemy as sa

from imustride.errors import StoreError
from imustride.season.migrations import now
from imustride.season.people import find_athlete, known_athlete
from imustride.season.tables import athletes, consents

if TYPE_CHECKING:
    from collections.abc import Sequence

    from imustride.season.store import Store

Scope = Literal["season", "group"]

ADULT_AGE = 18  # age of majority in most countries (common practice; some have 16 to 21)
SCOPES: tuple[Scope, ...] = (
    "season",
    "group",
)  # the athlete's own course over time; tables and pages of several athletes
GIVERS = ("self", "parent", "guardian")
RECORD = "record it with `imustride season consent record {code}`"


@dataclass(frozen=True, slots=True)
class Consent:
    """One consent on record; `assent` is the child's own agreement, None where nobody said."""

    given_by: str
    given_on: dt.date
    scope: tuple[str, ...]
    expires_on: dt.date | None = None
    assent: bool | None = None
    withdrawn_on: dt.date | None = None


def consent_problem(
    store: Store, athlete: str, scope: Scope | None = "season", on: dt.date | None = None
) -> str | None:
    """Return why an athlete's data may not be used, or None where they may.

    Parameters
    ----------
    store : Store
    athlete : str
        Code.
    scope : {"season", "group"} or None
        What is to be made: the athlete's own course over time, or a table or page of several athletes; None: anything.
    on : date, optional
        The day on which it is made; default: today.

    Returns
    -------
    str or None
        One sentence with what to do.

    Raises
    ------
    StoreError
        If the store does not know the athlete.
    """
    with store.reading() as connection:
        number = known_athlete(connection, athlete)
        return problem_of(connection, number, scope, on or dt.datetime.now().astimezone().date())


def problem_of(connection: sa.Connection, athlete: int, scope: Scope | None, on: dt.date) -> str | None:
    """Return the reason, see `consent_problem`; `athlete` is the number in the store."""
    code, birth_year = connection.execute(
        sa.select(athletes.c.code, athletes.c.birth_year).where(athletes.c.id == athlete)
    ).one()
    problem = judge(_consents(connection, athlete), birth_year, scope, on)
    return None if problem is None else f"{problem}; {RECORD.format(code=code)}"


def judge(given: Sequence[Consent], birth_year: int | None, scope: Scope | None, on: dt.date) -> str | None:
    """Return why none of the consents holds on a day, or None where the newest does; `scope` None asks for any.

    Parameters
    ----------
    given : sequence of Consent
        In order of their dates.
    birth_year : int or None
    scope : str or None
    on : date
    """
    past = [consent for consent in given if consent.given_on <= on]
    if not past:
        return f"no consent given by {on} is on record"
    newest = past[-1]
    told = f"the consent of {newest.given_on} (given by: {newest.given_by})"
    if newest.withdrawn_on is not None and newest.withdrawn_on <= on:
        return f"{told} was withdrawn on {newest.withdrawn_on}"
    if newest.expires_on is not None and newest.expires_on < on:
        return f"{told} expired on {newest.expires_on}"
    if scope is not None and scope not in newest.scope:
        return f"{told} does not cover {scope!r}, only {', '.join(newest.scope)}"
    return _problem_of_age(newest, told, birth_year, on)


def _problem_of_age(consent: Consent, told: str, birth_year: int | None, on: dt.date) -> str | None:
    if birth_year is None:
        return "the year of birth is not on record, so nobody can tell whose consent is needed"
    if consent.given_by == "self":
        if consent.given_on.year - birth_year < ADULT_AGE:
            return (
                f"{told} is a minor's own (born in {birth_year}); a parent's or guardian's consent is needed"
            )
        return None
    if on.year - birth_year > ADULT_AGE:
        return f"{told} ended as the athlete came of age (born in {birth_year}); the athlete's own consent is needed"
    if not consent.assent:
        return f"{told} lacks the child's own agreement (--assent)"
    return None


def add_problem(connection: sa.Connection, athlete: int, declared: str | None, on: dt.date) -> str | None:
    """Return why nothing may be added for an athlete: consent on record that no longer holds, or none at all.

    Where nothing is on record, what the session file declares is enough to keep the session; nothing is compared by it.
    """
    given = _consents(connection, athlete)
    if not given:
        if declared is not None:
            return None
        return "no consent is on record and session.toml declares none; record it with `imustride season consent record`"
    birth_year = connection.execute(
        sa.select(athletes.c.birth_year).where(athletes.c.id == athlete)
    ).scalar_one()
    problem = judge(given, birth_year, None, on)
    return None if problem is None else f"{problem}; record a new one with `imustride season consent record`"


def record_consent(
    store: Store, athlete: str, consent: Consent, *, birth_year: int | None = None, dry_run: bool = False
) -> None:
    """Put a consent on record; it takes the place of every earlier one.

    Raises
    ------
    StoreError
        If it cannot hold: no year of birth, a minor's own, without the child's agreement, dates that contradict,
        or dated in the future; or if the year of birth is another than the one on record.
    """
    today = dt.datetime.now().astimezone().date()
    if consent.given_on > today:
        message = (
            f"athlete {athlete}: the consent is dated {consent.given_on}, today is {today}; correct the date"
        )
        raise StoreError(message)
    with store.writing(keep=not dry_run) as connection:
        number = find_athlete(connection, athlete, birth_year)
        known = connection.execute(
            sa.select(athletes.c.birth_year).where(athletes.c.id == number)
        ).scalar_one()
        problem = judge([consent], known, None, consent.given_on)
        if problem:
            message = f"athlete {athlete}: {problem}; nothing was recorded"
            raise StoreError(message)
        row = {
            "athlete_id": number,
            "given_by": consent.given_by,
            "given_on": consent.given_on.isoformat(),
            "scope": ",".join(consent.scope),
            "expires_on": consent.expires_on and consent.expires_on.isoformat(),
            "assent": None if consent.assent is None else int(consent.assent),
            "recorded_at": now(),
        }
        connection.execute(consents.insert(), row)


def withdraw_consent(store: Store, athlete: str, on: dt.date, *, dry_run: bool = False) -> int:
    """Withdraw every consent given up to a day; the data stay until they are forgotten.

    Returns
    -------
    int
        How many were withdrawn.

    Raises
    ------
    StoreError
        If the store does not know the athlete.
    """
    with store.writing(keep=not dry_run) as connection:
        number = known_athlete(connection, athlete)
        open_ones = (consents.c.athlete_id == number) & consents.c.withdrawn_on.is_(None)
        given = open_ones & (consents.c.given_on <= on.isoformat())
        return connection.execute(consents.update().where(given).values(withdrawn_on=on.isoformat())).rowcount


def consents_of(store: Store, athlete: str) -> list[Consent]:
    """Return the consents of an athlete in order of their dates.

    Raises
    ------
    StoreError
        If the store does not know the athlete.
    """
    with store.reading() as connection:
        return _consents(connection, known_athlete(connection, athlete))


def _consents(connection: sa.Connection, athlete: int) -> list[Consent]:
    found = connection.execute(
        sa.select(consents)
        .where(consents.c.athlete_id == athlete)
        .order_by(consents.c.given_on, consents.c.id)
    )
    return [
        Consent(
            row.given_by,
            dt.date.fromisoformat(row.given_on),
            tuple(row.scope.split(",")),
            row.expires_on and dt.date.fromisoformat(row.expires_on),
            None if row.assent is None else bool(row.assent),
            row.withdrawn_on and dt.date.fromisoformat(row.withdrawn_on),
        )
        for row in found
    ]
