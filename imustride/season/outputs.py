"""What this program wrote about athletes, and where: forgetting one must find it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import sqlalchemy as sa

from imustride.season.people import known_athlete
from imustride.season.tables import output_athletes, outputs

if TYPE_CHECKING:
    from collections.abc import Sequence

    from imustride.season.store import Store

Kind = Literal["results", "export", "table", "page"]


@dataclass(frozen=True, slots=True)
class Output:
    """A folder or file that tells of one or more athletes."""

    path: Path
    kind: str


def note_output(connection: sa.Connection, path: Path, kind: Kind, athletes: Sequence[int]) -> None:
    """Remember that a folder or file tells of these athletes, whatever stood there before."""
    place = str(path.absolute())
    number = connection.execute(sa.select(outputs.c.id).where(outputs.c.path == place)).scalar()
    if number is None:
        row = {"path": place, "kind": kind}
        number = connection.execute(outputs.insert().returning(outputs.c.id), row).scalar_one()
    else:
        connection.execute(outputs.update().where(outputs.c.id == number).values(kind=kind))
    known = set(
        connection.execute(
            sa.select(output_athletes.c.athlete_id).where(output_athletes.c.output_id == number)
        ).scalars()
    )
    gone = known - set(athletes)
    if gone:
        connection.execute(
            output_athletes.delete().where(
                output_athletes.c.output_id == number, output_athletes.c.athlete_id.in_(gone)
            )
        )
    new = [{"output_id": number, "athlete_id": athlete} for athlete in athletes if athlete not in known]
    if new:
        connection.execute(output_athletes.insert(), new)


def outputs_of(connection: sa.Connection, athlete: int) -> list[Output]:
    """Return what was written about an athlete, in order of the paths."""
    found = connection.execute(
        sa.select(outputs.c.path, outputs.c.kind)
        .join(output_athletes, output_athletes.c.output_id == outputs.c.id)
        .where(output_athletes.c.athlete_id == athlete)
        .order_by(outputs.c.path)
    )
    return [Output(Path(path), kind) for path, kind in found]


def note_outputs(store: Store, path: Path, kind: Kind, codes: Sequence[str]) -> None:
    """Remember, in a transaction of its own, that a folder or file tells of these athletes.

    Raises
    ------
    StoreError
        If the store does not know one of them.
    """
    with store.writing() as connection:
        note_output(connection, path, kind, [known_athlete(connection, code) for code in codes])
