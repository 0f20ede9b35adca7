import numpy as np
import pytest
import sqlalchemy as sa

from imustride.errors import StoreError
from imustride.season import tables
from imustride.season.adding import add_session
from imustride.season.reading import Chosen, read_pushes, read_runs, read_sessions, read_symmetry
from imustride.season.store import problems
from tests.unit.season.conftest import TODAY, made_session


def everything(store):
    """Return every row of every table."""
    with store.reading() as connection:
        return {
            table.name: connection.execute(sa.select(table)).all() for table in tables.metadata.sorted_tables
        }


def test_what_was_added_is_read_back_value_by_value(store, add):
    added = add()
    assert (added.status, added.revision, added.runs, added.pushes) == ("added", 1, 2, 10)
    pushes = read_pushes(store)
    wanted = made_session().tables["pushes"]
    for name in wanted.columns:
        assert pushes[name].tolist() == pytest.approx(wanted[name].tolist(), nan_ok=True, abs=0)
    assert set(pushes["athlete"]) == {"A07"}
    assert set(pushes["date"]) == {"2026-10-03"}
    assert pushes["usable"].tolist() == [True] * 5 + [False] * 5
    runs = read_runs(store)
    assert runs["gate_time_s"].tolist() == pytest.approx([4.8, np.nan], nan_ok=True)
    assert runs["reason"].tolist() == ["", "a stumble"]
    assert read_symmetry(store)["verdict"].tolist() == ["unclear"]
    assert problems(store) == []


def test_what_decides_comparison_is_kept(store, add):
    add()
    session = read_sessions(store).iloc[0]
    assert session["protocol"] == "sprint-100ft"
    assert session["conditions"] == {"stick": False}
    assert session["definitions"] == {"contact_time_s": 2, "edge_angle_deg": 1}
    assert session["rate_hz"] == 250
    assert np.isnan(session["bandwidth_hz"])
    assert (session["mount"], session["calibration"]) == ("holder", "one")
    assert session["product_version"] == "0.5"
    assert len(session["settings_digest"]) == 64


def test_the_same_input_changes_nothing(store, add):
    add()
    before = everything(store)
    assert add().status == "unchanged"
    assert everything(store) == before


def test_a_corrected_input_takes_the_place_of_the_former_which_stays_as_history(store, add):
    add()
    corrected = add(contact_s=(0.5, 0.5, 0.5, 0.5))
    assert (corrected.status, corrected.revision) == ("corrected", 2)
    assert read_pushes(store)["contact_time_s"].iloc[1] == 0.5
    sessions = read_sessions(store, Chosen(history=True))
    assert sessions["revision"].tolist() == [1, 2]
    assert [bool(when) for when in sessions["superseded_at"]] == [True, False]
    with_history = read_pushes(store, Chosen(history=True))
    assert with_history.groupby("revision")["contact_time_s"].nth(1).tolist() == [0.30, 0.5]


def test_corrected_back_and_forth_every_state_is_a_revision(add):
    add()
    add(contact_s=(0.5, 0.5, 0.5, 0.5))
    assert (add().status, add().revision) == ("corrected", 3)


def test_two_sessions_of_a_day_are_two(store, add):
    add(name="morning")
    add(name="evening", logs=("bb",))
    assert read_sessions(store)["session"].tolist() == ["evening", "morning"]


def test_a_metric_that_is_new_needs_no_migration(store, add):
    add()
    newer = made_session(date="2026-10-10", logs=("bb",))
    newer.tables["pushes"]["trunk_lean_deg"] = np.arange(10.0)
    add_session(store, newer, today=TODAY)
    pushes = read_pushes(store)
    old, new = pushes[pushes["date"] == "2026-10-03"], pushes[pushes["date"] == "2026-10-10"]
    assert old["trunk_lean_deg"].isna().all()
    assert new["trunk_lean_deg"].tolist() == list(range(10))
    assert new["edge_angle_deg"].tolist() == old["edge_angle_deg"].tolist()


def test_a_further_column_of_text_is_kept_and_empty_where_there_was_none(store, add):
    add()
    session = made_session(date="2026-10-10", logs=("bb",))
    session.tables["pushes"]["push_start_by"] = ["", *["angle"] * 8, "leg"]
    add_session(store, session, today=TODAY)
    pushes = read_pushes(store)
    assert pushes["push_start_by"].tolist() == [""] * 11 + ["angle"] * 8 + ["leg"]
    assert pushes["edge_angle_deg"].tolist() == [20.0 + i for i in range(10)] * 2
    assert "push_start_by" not in read_pushes(store, metrics=["edge_angle_deg"])


def test_a_session_of_tomorrow_is_refused(store, add):
    with pytest.raises(StoreError, match=r"dated 2026-11-21, today is 2026-11-20; correct"):
        add(date="2026-11-21")
    assert add(date="2026-11-20").status == "added"
    assert len(read_sessions(store)) == 1


def test_one_code_with_two_birth_years_is_refused(store, add):
    add(birth_year=2010)
    with pytest.raises(StoreError, match="born in 2010 by the store, in 2011"):
        add(date="2026-10-10", birth_year=2011)
    assert read_sessions(store)["birth_year"].tolist() == [2010]


def test_a_name_is_no_code(add):
    with pytest.raises(StoreError, match="never a name"):
        add(athlete="Anna Smith")


def test_no_table_has_a_column_for_a_persons_name():
    persons = {column.name for column in tables.athletes.columns}
    assert persons == {"id", "code", "birth_year"}


def test_a_session_nobody_consented_to_is_refused(store, add):
    with pytest.raises(StoreError, match=r"no consent is on record and session\.toml declares none"):
        add(consent=None)
    assert everything(store)["athletes"] == []


def test_the_same_logs_under_two_codes_are_told(add):
    assert add().notes == ()
    (note,) = add(athlete="B02").notes
    assert "the same logs are also in the session 'evening' of A07 on 2026-10-03" in note


def test_a_dry_run_tells_and_keeps_nothing(store, add):
    before = everything(store)
    assert add(dry_run=True).status == "added"
    assert everything(store) == before
