"""What the store holds of one person beside the tables: year of birth, files, and what was written about them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from imustride.season import tables as t
from imustride.season.outputs import outputs_of
from imustride.season.people import known_athlete

if TYPE_CHECKING:
    from imustride.season.store import Store


def read_person(store: Store, athlete: str) -> dict[str, Any]:
    """Return code, year of birth and the folders written about an athlete, as plain data.

    Raises
    ------
    StoreError
        If the store does not know the athlete.
    """
    with store.reading() as connection:
        number = known_athlete(connection, athlete)
        birth_year = connection.execute(
            sa.select(t.athletes.c.birth_year).where(t.athletes.c.id == number)
        ).scalar_one()
        written = [
            {"kind": output.kind, "path": str(output.path)} for output in outputs_of(connection, number)
        ]
    return {"athlete": athlete, "birth_year": birth_year, "written": written}


def read_inputs(store: Store, athlete: str) -> list[dict[str, Any]]:
    """Return every file that an analysis of an athlete read: session, kind, name, SHA-256, place, archived."""
    s, i = t.sessions.c, t.inputs.c
    query = (
        sa.select(s.date, s.name.label("session"), s.revision, i.kind, i.name, i.sha256, i.place, i.archived)
        .select_from(t.inputs)
        .join(t.sessions)
        .join(t.athletes)
        .where(t.athletes.c.code == athlete)
        .order_by(s.date, s.name, s.revision, i.id)
    )
    with store.reading() as connection:
        return [dict(row) for row in connection.execute(query).mappings()]
