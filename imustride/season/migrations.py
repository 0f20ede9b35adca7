"""Versions of the store: what is known, how an older one is brought up to date, and its backup before."""

from __future__ import annotations

import datetime as dt
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING

import sqlalchemy as sa

from imustride import __version__
from imustride.errors import StoreError
from imustride.season.tables import metadata, pushes, runs, sessions, versions

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

SCHEMA_VERSION = 1

# Columns that may tell who somebody is.
IDENTIFYING = (
    ("athletes", "code"),
    ("athletes", "birth_year"),
    ("sessions", "name"),
    ("sessions", "conditions"),
    ("inputs", "name"),
    ("inputs", "place"),
    ("outputs", "path"),
)

# By the version they lead to; each takes a connection inside the one transaction of all.
STEPS: Mapping[int, Callable[[sa.Connection], None]] = {}


def version_of(connection: sa.Connection) -> int | None:
    """Return the version of a store; None where there is none."""
    if not sa.inspect(connection).has_table(versions.name):
        return None
    found = connection.execute(sa.select(sa.func.max(versions.c.version))).scalar()
    return None if found is None else int(found)


def check_known(version: int, where: str) -> None:
    """Refuse a store that a newer program made.

    Raises
    ------
    StoreError
        If the version is larger than this program's.
    """
    if version > SCHEMA_VERSION:
        message = (
            f"{where}: the store is of version {version}, this program knows {SCHEMA_VERSION}; nothing was changed; "
            "update the program: python -m pip install --upgrade imustride"
        )
        raise StoreError(message)


def create(connection: sa.Connection) -> None:
    """Make all tables, where none of these names is taken.

    Raises
    ------
    StoreError
        If another program has a table of the same name there.
    """
    taken = sorted(set(sa.inspect(connection).get_table_names()) & set(metadata.tables))
    if taken:
        message = (
            f"--store: the database has a table {taken[0]!r} of another program; nothing was changed; name a database of "
            "its own"
        )
        raise StoreError(message)
    metadata.create_all(connection)
    if connection.dialect.name == "postgresql":
        for table, column in IDENTIFYING:  # else the server keeps samples of the values in its catalogue
            connection.exec_driver_sql(f'ALTER TABLE "{table}" ALTER "{column}" SET STATISTICS 0')
    _sign(connection, SCHEMA_VERSION)


def migrate(connection: sa.Connection) -> None:
    """Take every step that is still to take; inside one transaction, so all or none."""
    for version in range((version_of(connection) or 0) + 1, SCHEMA_VERSION + 1):
        STEPS[version](connection)
        _sign(connection, version)


def now() -> str:
    """Return the time, ISO 8601 in UTC to the second."""
    return dt.datetime.now(dt.UTC).isoformat(timespec="seconds")


def _sign(connection: sa.Connection, version: int) -> None:
    row = {"version": version, "applied_at": now(), "product_version": __version__}
    connection.execute(versions.insert(), row)


def backup(engine: sa.Engine, file: Path | None, version: int) -> Path | None:
    """Copy the file of a store beside it, whole; what a server holds is backed up by the server.

    Returns
    -------
    Path or None
        The copy.
    """
    if file is None:
        return None
    stamp = now().replace(":", "").partition("+")[0]
    target = file.with_name(f"{file.name}.before-{version + 1}-{stamp}")
    partial = target.with_name(f".{target.name}.part")
    partial.unlink(missing_ok=True)
    with engine.connect() as connection, closing(sqlite3.connect(partial)) as copy:
        driver = connection.connection.driver_connection
        if isinstance(driver, sqlite3.Connection):
            driver.backup(copy)
    partial.chmod(0o600)
    partial.replace(target)
    return target


def backups(file: Path) -> list[Path]:
    """Return the backups that migrations made of a store, unfinished ones too."""
    return [
        *sorted(file.parent.glob(f"{file.name}.before-*")),
        *file.parent.glob(f".{file.name}.before-*.part*"),
    ]


def miscounted(connection: sa.Connection) -> list[str]:
    """Return the sessions and runs that do not have the runs and pushes counted when they were added."""
    found = []
    for whole, part, key, counted in (
        (sessions, runs, runs.c.session_id, sessions.c.runs),
        (runs, pushes, pushes.c.run_id, runs.c.pushes),
    ):
        held = sa.select(key, sa.func.count().label("held")).group_by(key).subquery()
        present = sa.func.coalesce(held.c.held, 0)
        wrong = (
            sa.select(whole.c.id, counted, present)
            .select_from(whole.outerjoin(held, held.c[key.name] == whole.c.id))
            .where(counted != present)
        )
        found += [
            f"row {number} of {whole.name}: {wanted} {part.name} were added, {there} are there"
            for number, wanted, there in connection.execute(wrong)
        ]
    return found
