"""Athletes: a code and a year of birth, never a name."""

from __future__ import annotations

from typing import TYPE_CHECKING

import sqlalchemy as sa

from imustride.errors import StoreError
from imustride.season.tables import athletes
from imustride.session_checks import is_code

if TYPE_CHECKING:
    from imustride.season.store import Store


def find_athlete(connection: sa.Connection, code: str, birth_year: int | None = None) -> int:
    """Return the number of an athlete, who is made if the code is new.

    Raises
    ------
    StoreError
        If the code is none, or the store knows it with another year of birth.
    """
    if not is_code(code):
        message = f"athlete: found {code!r}; wanted a code of 1 to 32 letters and digits, never a name"
        raise StoreError(message)
    known = connection.execute(
        sa.select(athletes.c.id, athletes.c.birth_year).where(athletes.c.code == code)
    ).one_or_none()
    if known is None:
        row = {"code": code, "birth_year": birth_year}
        return int(connection.execute(athletes.insert().returning(athletes.c.id), row).scalar_one())
    if birth_year is not None and known.birth_year is None:
        connection.execute(athletes.update().where(athletes.c.id == known.id).values(birth_year=birth_year))
    elif birth_year not in {None, known.birth_year}:
        message = (
            f"athlete {code}: born in {known.birth_year} by the store, in {birth_year} by what is added: two people under one "
            "code, or a slip; give the other one another code, or correct the year with "
            f"`imustride season birth-year {code} YEAR`"
        )
        raise StoreError(message)
    return int(known.id)


def known_athlete(connection: sa.Connection, code: str) -> int:
    """Return the number of an athlete whom the store knows.

    Raises
    ------
    StoreError
        If it does not.
    """
    found = connection.execute(sa.select(athletes.c.id).where(athletes.c.code == code)).scalar()
    if found is None:
        message = f"athlete {code!r}: not in this store; `imustride season list` tells who is"
        raise StoreError(message)
    return int(found)


def set_birth_year(store: Store, code: str, birth_year: int, *, dry_run: bool = False) -> None:
    """Correct the year of birth of a known athlete.

    Raises
    ------
    StoreError
        If the store does not know the athlete.
    """
    with store.writing(keep=not dry_run) as connection:
        number = known_athlete(connection, code)
        connection.execute(athletes.update().where(athletes.c.id == number).values(birth_year=birth_year))
