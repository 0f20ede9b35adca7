"""The store: opened, checked, and written to in transactions that happen whole or not at all."""

from __future__ import annotations

import os
import sqlite3
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from imustride.errors import StoreError
from imustride.season import migrations
from imustride.season.place import check_local, find_place, server_url, shown

if TYPE_CHECKING:
    from collections.abc import Iterator

WAIT_S = 30.0  # for another process that writes
HEADER = b"SQLite format 3\x00"
# Any number: it names the lock under which one process at a time writes to a server.
WRITERS = 0x1305
FAULTS = {
    "locked": "another process holds it; wait for it to end and repeat",
    "lock timeout": "another process holds it; wait for it to end and repeat",
    "readonly": "it cannot be written to; correct the permissions of the file and its folder, or choose another --store",
    "unable to open": "it cannot be opened; the file and its folder must be writable, or choose another --store",
    "malformed": "the file is damaged; nothing was changed; put back a copy of it (a backup, or a season-*.before-* file)",
    "not a database": "the file is damaged or no season store; nothing was changed; choose another --store",
    "disk is full": "the disk is full; nothing was changed; make room and repeat",
    "disk I/O error": "the disk failed to read or write; nothing was changed; check the disk and put back a copy",
}


@dataclass(frozen=True, slots=True)
class Store:
    """An open store; `file` is None where it is a server. Get it from `open_store`."""

    place: str
    engine: sa.Engine
    file: Path | None

    @property
    def shown(self) -> str:
        """The place without a password."""
        return shown(self.place)

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """Give a connection that sees one state of the store, whatever others write meanwhile."""
        with explained(self.place), self.engine.connect() as connection:
            if self.file is None:
                connection.execution_options(isolation_level="REPEATABLE READ")
            yield connection

    @contextmanager
    def writing(self, *, keep: bool = True) -> Iterator[sa.Connection]:
        """Give a connection that is alone in writing; all of it is kept if the body ends without an error.

        `keep` False undoes it even so: a dry run does everything but that.
        """
        with explained(self.place), self.engine.connect() as connection:
            connection.execution_options(writes=True)
            with connection.begin() as transaction:
                if self.file is None:
                    connection.execute(sa.text("SELECT pg_advisory_xact_lock(:key)"), {"key": WRITERS})
                yield connection
                if not keep:
                    transaction.rollback()

    @contextmanager
    def outside_transactions(self) -> Iterator[sa.Connection]:
        """Give a connection of which every statement stands alone, as VACUUM wants it."""
        with explained(self.place), self.engine.connect() as connection:
            connection.execution_options(isolation_level="AUTOCOMMIT", alone=True)
            yield connection


def open_store(place: str | None = None, *, create: bool = False, wait_s: float = WAIT_S) -> Store:
    """Open the store of the season.

    Parameters
    ----------
    place : str, optional
        A file or the URL of a PostgreSQL server; default: as `find_place` says.
    create : bool
        Make it where there is none.
    wait_s : float
        How long to wait for another process that writes [s].

    Returns
    -------
    Store
        Of the version this program knows; an older one was brought up to it, after a backup.

    Raises
    ------
    StoreError
        If there is none, or it is locked, damaged, on a network share, of a newer version, or not a store.
    """
    place = find_place(place)
    url = server_url(place)
    store = _server(place, url, wait_s) if url else _file(place, wait_s, create=create)
    with store.reading() as connection:
        version = migrations.version_of(connection)
    if version is None and store.file is None and create:
        with store.writing() as connection:  # alone: nobody else makes it meanwhile
            if migrations.version_of(connection) is None:
                migrations.create(connection)
        return store
    if version is None:
        raise StoreError(_not_ours(store, place))
    migrations.check_known(version, shown(place))
    if version < migrations.SCHEMA_VERSION:
        with store.writing() as connection:  # alone: what is copied is what is about to be changed
            if (migrations.version_of(connection) or 0) < migrations.SCHEMA_VERSION:
                migrations.backup(store.engine, store.file, version)
                migrations.migrate(connection)
    return store


def _not_ours(store: Store, place: str) -> str:
    if store.file is None:
        return f"{shown(place)}: there is no season there yet; add results with `imustride season add`"
    return f"{place}: found a database of another program, wanted a season store; choose another --store"


def _server(place: str, url: str, wait_s: float) -> Store:
    try:
        engine = sa.create_engine(
            url, poolclass=sa.NullPool, connect_args={"options": f"-c lock_timeout={int(wait_s * 1000)}"}
        )
    except ImportError:
        message = "--store: a PostgreSQL server needs an extra: python -m pip install 'imustride[server]'"
        raise StoreError(message) from None
    except sa.exc.ArgumentError:
        message = f"--store: {shown(place)} is no URL; wanted postgresql://user@host/database"
        raise StoreError(message) from None
    return Store(place, engine, None)


def _file(place: str, wait_s: float, *, create: bool) -> Store:
    file = Path(place).absolute()
    if file.is_dir():
        message = f"{file}: found a folder, wanted the file of a season store; name a file, such as season.db"
        raise StoreError(message)
    check_local(file)
    if not file.exists():
        if not create:
            message = f"{file}: there is no season store; make one with `imustride season add`, or name it by --store"
            raise StoreError(message)
        _make(file)
    else:
        with file.open("rb") as stream:
            head = stream.read(len(HEADER))
        if head != HEADER:
            message = (
                f"{file}: the file is damaged or no season store: found no SQLite file; nothing was changed; choose "
                "another --store, or put back a copy"
            )
            raise StoreError(message)
    return Store(place, _sqlite_engine(file, wait_s), file)


def _make(file: Path) -> None:
    """Make a new store beside its place, then move it in: no process ever sees half of one."""
    file.parent.mkdir(parents=True, exist_ok=True)
    beside = file.with_name(f".{file.name}.new-{os.getpid()}")
    beside.unlink(missing_ok=True)
    try:
        with explained(str(file)):
            beside.touch(mode=0o600)
            store = Store(str(file), _sqlite_engine(beside, WAIT_S), beside)
            with store.outside_transactions() as connection:
                connection.exec_driver_sql("PRAGMA journal_mode=WAL")
            with store.writing() as connection:
                migrations.create(connection)
        try:
            os.link(beside, file)  # unlike a rename this never takes the place of another's
        except FileExistsError:
            return
    finally:
        for leftover in (beside, Path(f"{beside}-wal"), Path(f"{beside}-shm")):
            leftover.unlink(missing_ok=True)


def _sqlite_engine(file: Path, wait_s: float) -> sa.Engine:
    address = f"{file.as_uri()}?mode=rw"

    def connect() -> sqlite3.Connection:
        connection = sqlite3.connect(
            address, uri=True, timeout=wait_s, isolation_level=None, check_same_thread=False
        )
        for pragma in ("foreign_keys=ON", "synchronous=FULL", "secure_delete=ON", "trusted_schema=OFF"):
            connection.execute(f"PRAGMA {pragma}")
        return connection

    engine = sa.create_engine("sqlite://", creator=connect, poolclass=sa.NullPool)

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        # Whoever will write says so at once: two readers that both want to write later would wait for each other.
        options = connection.get_execution_options()
        if not options.get("alone"):
            connection.exec_driver_sql("BEGIN IMMEDIATE" if options.get("writes") else "BEGIN")

    return engine


@contextmanager
def explained(place: str) -> Iterator[None]:
    """Turn what a database says into one clear line.

    Raises
    ------
    StoreError
        For every error of the database.
    """
    try:
        yield
    except (sa.exc.DBAPIError, sqlite3.Error) as error:
        said = str(getattr(error, "orig", None) or error).strip().partition("\n")[0]
        advice = next((advice for word, advice in FAULTS.items() if word in said), None)
        if advice is None and server_url(place):
            advice = "check that the server runs, the address, the user and the rights"
        message = f"{shown(place)}: {advice} ({said})" if advice else f"{shown(place)}: {said}"
        raise StoreError(message) from error


def problems(store: Store) -> list[str]:
    """Return what is wrong inside the store; an empty list says that everything holds together.

    Notes
    -----
    For a file: the integrity check and the check of foreign keys of SQLite. For both: every current session
    has the runs, and every run the pushes, that were counted when it was added.
    """
    found = []
    with store.reading() as connection:
        if store.file is not None:
            lines = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
            found += [str(line) for line in lines if line != "ok"]
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
            found += [f"a row of {table} hangs on nothing" for table, *_ in broken]
        found += migrations.miscounted(connection)
    return found
