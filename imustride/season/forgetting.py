"""One person taken out of the store, until no byte is left: what there is, the rows, and the room they took.

A deleted row stays in the file until its page is written over, in the log of a database until that is recycled, and in the
statistics of a server. So the columns that identify anybody have no statistics, the rows are deleted with their bytes (SQLite: ``secure_delete``), the file is written anew
(``VACUUM``), and the log is emptied (``wal_checkpoint(TRUNCATE)``; https://www.sqlite.org/pragma.html#pragma_secure_delete).
A PostgreSQL server gets the same as far as its rights allow, and what remains is told.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from imustride.errors import StoreError
from imustride.season import tables as t
from imustride.season.archive import archived_path
from imustride.season.migrations import backups
from imustride.season.outputs import Output, outputs_of
from imustride.season.people import known_athlete

if TYPE_CHECKING:
    from imustride.season.store import Store

FILLER_BYTES = 1 << 20


@dataclass(frozen=True, slots=True)
class Original:
    """A raw file in a session folder, as it was seen when the session was added."""

    path: Path
    sha256: str


@dataclass(frozen=True, slots=True)
class Traces:
    """Everything a store knows of one athlete, and where."""

    athlete: str
    rows: dict[str, int]
    archived: tuple[Path, ...]
    outputs: tuple[Output, ...]
    originals: tuple[Original, ...]
    backups: tuple[Path, ...]


def traces(store: Store, athlete: str, archive: Path) -> Traces:
    """Return everything there is of an athlete.

    Raises
    ------
    StoreError
        If the store does not know the athlete.
    """
    with store.reading() as connection:
        number = known_athlete(connection, athlete)
        mine = sa.select(t.sessions.c.id).where(t.sessions.c.athlete_id == number)
        others = sa.select(t.inputs.c.sha256).where(t.inputs.c.session_id.not_in(mine))
        kept = connection.execute(
            sa.select(t.inputs.c.sha256)
            .distinct()
            .where(
                t.inputs.c.session_id.in_(mine), t.inputs.c.archived == 1, t.inputs.c.sha256.not_in(others)
            )
            .order_by(t.inputs.c.sha256)
        ).scalars()
        seen = connection.execute(
            sa.select(t.inputs.c.place, t.inputs.c.sha256)
            .distinct()
            .where(t.inputs.c.session_id.in_(mine), t.inputs.c.place.is_not(None))
            .order_by(t.inputs.c.place)
        )
        return Traces(
            athlete,
            _count(connection, number, mine),
            tuple(archived_path(archive, digest) for digest in kept),
            tuple(outputs_of(connection, number)),
            tuple(Original(Path(place), digest) for place, digest in seen),
            tuple(backups(store.file)) if store.file else (),
        )


def _count(connection: sa.Connection, athlete: int, mine: sa.Select[tuple[int]]) -> dict[str, int]:
    """Return how many rows of each table are the athlete's; `mine` are the numbers of the sessions."""
    of_runs = sa.select(t.runs.c.id).where(t.runs.c.session_id.in_(mine))
    which = {
        "athletes": t.athletes.c.id == athlete,
        "consents": t.consents.c.athlete_id == athlete,
        "sessions": t.sessions.c.athlete_id == athlete,
        "runs": t.runs.c.session_id.in_(mine),
        "pushes": t.pushes.c.run_id.in_(of_runs),
        "symmetry": t.symmetry.c.session_id.in_(mine),
        "inputs": t.inputs.c.session_id.in_(mine),
    }
    counts = {
        name: sa.select(sa.func.count()).select_from(t.metadata.tables[name]).where(rows)
        for name, rows in which.items()
    }
    return {name: int(connection.execute(count).scalar_one()) for name, count in counts.items()}


def delete_athlete(store: Store, athlete: str) -> None:
    """Delete every row of an athlete, in one transaction; see `scrub` for the bytes.

    Raises
    ------
    StoreError
        If the store does not know the athlete.
    """
    with store.writing() as connection:
        number = known_athlete(connection, athlete)
        mentioned = sa.select(t.output_athletes.c.output_id).where(t.output_athletes.c.athlete_id == number)
        connection.execute(t.outputs.delete().where(t.outputs.c.id.in_(mentioned)))
        connection.execute(t.athletes.delete().where(t.athletes.c.id == number))


def delete_session(store: Store, athlete: str, date: str, session: str, *, dry_run: bool = False) -> int:
    """Delete a session with its history; return how many revisions there were.

    Raises
    ------
    StoreError
        If there is none.
    """
    with store.writing(keep=not dry_run) as connection:
        number = known_athlete(connection, athlete)
        c = t.sessions.c
        gone = connection.execute(
            t.sessions.delete().where(c.athlete_id == number, c.date == date, c.name == session)
        ).rowcount
        if not gone:
            message = f"{athlete}, {date}: no session {session!r} in this store; `imustride season list` tells which there are"
            raise StoreError(message)
    return gone


def scrub(store: Store) -> tuple[str, ...]:
    """Write the store anew without the room of deleted rows; return what could not be reached.

    Raises
    ------
    StoreError
        If another process holds the store.
    """
    if store.file is None:
        return _scrub_server(store)
    with store.outside_transactions() as connection:
        connection.exec_driver_sql("VACUUM")
        busy, *_ = connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)").one()
    for path in backups(store.file):
        path.unlink(missing_ok=True)
    if busy:
        message = f"{store.file}: another process reads the store, its log could not be emptied; end it and repeat the command"
        raise StoreError(message)
    return ()


def _scrub_server(store: Store) -> tuple[str, ...]:
    left = ["replicas, base backups, archived logs and the text log of the server: ask who runs it"]
    with store.outside_transactions() as connection:
        for table in t.metadata.sorted_tables:
            connection.exec_driver_sql(f'VACUUM (FULL) "{table.name}"')
        try:
            for _ in range(2):  # what the first round recycles lies ahead, and is written over by the second
                _overwrite_log(connection)
        except sa.exc.DBAPIError:
            left.append(
                "the write-ahead log, until the server recycles it: this user may not; one with the roles pg_checkpoint "
                "and pg_monitor may"
            )
    return tuple(left)


def _overwrite_log(connection: sa.Connection) -> None:
    """Write as much as all segments of the write-ahead log hold, then have the old ones recycled."""
    count, size = connection.exec_driver_sql(
        "SELECT count(*), pg_size_bytes(current_setting('wal_segment_size')) FROM pg_ls_waldir()"
    ).one()
    for _ in range((count + 1) * size // FILLER_BYTES):
        connection.exec_driver_sql(
            f"SELECT pg_logical_emit_message(false, 'imustride', repeat(' ', {FILLER_BYTES}))"
        )
    connection.exec_driver_sql("CHECKPOINT")
