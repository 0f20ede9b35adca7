import hashlib

import pytest
import sqlalchemy as sa

from imustride.errors import StoreError
from imustride.season import tables
from imustride.season.adding import Input, add_session
from imustride.season.archive import archive, archived_path, unknown_files
from imustride.season.forgetting import delete_athlete, delete_session, scrub, traces
from imustride.season.outputs import note_outputs, outputs_of
from imustride.season.people import known_athlete
from imustride.season.reading import Chosen, read_pushes, read_sessions
from imustride.season.store import open_store, problems
from tests.unit.season.conftest import TODAY, made_session

CODE = "ZebraQuark77"
ALONE = "OkapiLepton88"  # in one database of the server only


def counts(store):
    with store.reading() as connection:
        return {
            table.name: connection.execute(sa.select(sa.func.count()).select_from(table)).scalar()
            for table in tables.metadata.sorted_tables
        }


def holding(folder, text):
    """Return the files below a folder that hold a text."""
    return [path for path in folder.rglob("*") if path.is_file() and text.encode() in path.read_bytes()]


def test_every_row_goes_and_the_others_stay(store, add, tmp_path):
    add("B02", logs=("bb",))
    before = counts(store)
    others = read_pushes(store)
    add(CODE)
    add(CODE, contact_s=(0.5, 0.5, 0.5, 0.5))
    found = traces(store, CODE, tmp_path)
    assert found.rows == {
        "athletes": 1, "consents": 0, "sessions": 2, "runs": 4, "pushes": 20, "symmetry": 2, "inputs": 2,
    }  # fmt: skip
    delete_athlete(store, CODE)
    assert counts(store) == before
    assert read_pushes(store).equals(others)
    with pytest.raises(StoreError, match="not in this store"):
        traces(store, CODE, tmp_path)
    assert problems(store) == []


def test_no_byte_is_left_in_the_files_of_a_store(tmp_path):
    store = open_store(str(tmp_path / "season.db"), create=True)
    for number in range(30):
        add_session(
            store, made_session("B02", f"2026-10-{number + 1:02d}", logs=(f"{number:02d}",)), today=TODAY
        )
        add_session(
            store, made_session(CODE, f"2026-10-{number + 1:02d}", logs=(f"f{number:02d}",)), today=TODAY
        )
    with store.writing() as connection:  # as long as a deleted row is only marked, this finds it
        assert holding(tmp_path, CODE)
        connection.execute(sa.text("SELECT 1"))
    delete_athlete(store, CODE)
    scrub(store)
    assert holding(tmp_path, CODE) == []
    assert problems(store) == []
    assert len(read_sessions(store)) == 30


def test_no_byte_is_left_on_a_server(server):
    """The tables, their indexes, what the server gathers of them, and its write-ahead log; it runs as we do."""
    store = open_store(server.database("forgetting"), create=True)
    add_session(store, made_session(ALONE), today=TODAY)
    with store.outside_transactions() as connection:
        connection.exec_driver_sql("ANALYZE")
        connection.exec_driver_sql("CHECKPOINT")
    assert holding(server.folder, ALONE)
    delete_athlete(store, ALONE)
    left = scrub(store)
    assert holding(server.folder, ALONE) == []
    assert len(left) == 1
    assert "replicas" in left[0]


def test_a_reader_that_holds_the_log_is_told(tmp_path):
    store = open_store(str(tmp_path / "season.db"), create=True, wait_s=0.05)
    add_session(store, made_session(CODE), today=TODAY)
    with store.reading() as connection:
        connection.execute(sa.select(tables.athletes)).all()
        delete_athlete(store, CODE)
        with pytest.raises(StoreError, match="another process"):
            scrub(store)
    scrub(store)
    assert holding(tmp_path, CODE) == []


def test_a_session_goes_with_its_history(store, add):
    add()
    add(contact_s=(0.5, 0.5, 0.5, 0.5))
    add(date="2026-10-10", logs=("bb",))
    assert delete_session(store, "A07", "2026-10-03", "evening", dry_run=True) == 2
    assert delete_session(store, "A07", "2026-10-03", "evening") == 2
    assert read_sessions(store, Chosen(history=True))["date"].tolist() == ["2026-10-10"]
    with pytest.raises(StoreError, match="no session 'evening'"):
        delete_session(store, "A07", "2026-10-03", "evening")


def test_outputs_are_those_that_tell_of_the_athlete_now(store, add, tmp_path):
    add("A07")
    add("B02", logs=("bb",))
    note_outputs(store, tmp_path / "table", "table", ["A07", "B02"])
    note_outputs(store, tmp_path / "page", "page", ["A07"])
    note_outputs(store, tmp_path / "page", "page", ["B02"])
    with store.reading() as connection:
        of = {
            code: {output.path.name for output in outputs_of(connection, known_athlete(connection, code))}
            for code in ("A07", "B02")
        }
    assert of == {
        "A07": {"table", "A07-2026-10-03-evening"},
        "B02": {"table", "page", "B02-2026-10-03-evening"},
    }


def test_an_archived_file_is_kept_once_and_as_long_as_anybody_needs_it(store, tmp_path):
    log = tmp_path / "left.csv"
    log.write_bytes(b"t,ax\n0,1\n")
    digest = hashlib.sha256(log.read_bytes()).hexdigest()
    folder = tmp_path / "raw"
    assert archive(folder, log, digest) == archive(folder, log, digest) == archived_path(folder, digest)
    for code in ("A07", "B02"):
        session = made_session(code, logs=())
        session.inputs.append(Input("log", "left.csv", digest, str(log), archived=True))
        add_session(store, session, today=TODAY)
    assert traces(store, "A07", folder).archived == ()
    delete_athlete(store, "A07")
    assert traces(store, "B02", folder).archived == (archived_path(folder, digest),)
    delete_athlete(store, "B02")
    with store.reading() as connection:
        assert list(unknown_files(connection, folder)) == [archived_path(folder, digest)]


def test_a_file_that_changes_while_it_is_archived_leaves_nothing(tmp_path):
    log = tmp_path / "left.csv"
    log.write_bytes(b"t,ax\n0,2\n")
    with pytest.raises(StoreError, match="changed while it was copied"):
        archive(tmp_path / "raw", log, "ab" * 32)
    assert holding(tmp_path / "raw", "") == []
