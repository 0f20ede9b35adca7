"""The season by its commands: sessions in, tables out, a person forgotten."""

import dataclasses
import datetime as dt
import io
import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from imustride.cli.boundary import run
from imustride.exporting import verify, write_results
from imustride.season.reading import read_pushes, read_sessions
from imustride.season.store import open_store, problems
from tests import postgres

ROOT = Path(__file__).parents[2]
CODE = "ZebraQuark77"


@pytest.fixture
def results(tmp_path, make_result):
    """Write a results folder made by hand."""

    def write(athlete="A07", day=3, name="results", **session):
        result = make_result()
        declared = result.session.model_copy(
            update={"athlete": athlete, "date": dt.date(2026, 10, day), **session}
        )
        write_results(
            dataclasses.replace(result, session=declared), tmp_path / name, {"summary.html": athlete}
        )
        return tmp_path / name

    return write


@pytest.fixture
def store(tmp_path, monkeypatch):
    folder = tmp_path / "kept"
    monkeypatch.setenv("IMUSTRIDE_STORE", str(folder / "season.db"))
    return folder / "season.db"


@pytest.fixture
def consented(command):
    def call(athlete="A07", *more):
        arguments = ("--by", "guardian", "--assent", "--birth-year", "2012", "--date", "2026-09-01")
        status, _, said = command("season", "consent", "record", athlete, *arguments, *more)
        assert status == 0, said

    return call


def holding(folder, text=CODE):
    return [path for path in folder.rglob("*") if path.is_file() and text.encode() in path.read_bytes()]


def test_a_real_session_goes_in_with_its_raw_logs(session, tmp_path, command, store, consented):
    out = tmp_path / "results"
    assert command("analyse", session, "--out", out)[0] == 0
    status, said, talk = command("season", "add", out, "--raw", tmp_path, "--archive", "--json")
    assert status == 0, talk
    added = json.loads(said)["sessions"][0]
    assert (added["status"], added["runs"], added["notes"]) == ("added", 2, [])
    athlete = added["athlete"]
    pushes = read_pushes(open_store(str(store)))
    written = pd.read_csv(out / "pushes.csv")
    assert len(pushes) == len(written) > 10
    np.testing.assert_array_equal(pushes["contact_time_s"], written["contact_time_s"])
    sessions = read_sessions(open_store(str(store))).iloc[0]
    assert sessions["rate_hz"] == 250
    kept = {path.name for path in store.with_name("season-raw").rglob("*") if path.is_file()}
    inputs = verify(out)["inputs"]
    assert kept == set(inputs.values())
    consented(athlete)
    assert command("season", "forget", "--athlete", athlete, "--yes", "--originals")[0] == 0
    assert not list(store.with_name("season-raw").rglob("*"))
    assert not out.exists()
    assert not any((session / name).exists() for name in inputs)


def test_safe_to_repeat_and_corrected_with_history(results, command, store, make_result):
    folder = results()
    assert "added, 3 runs, 57 pushes" in command("season", "add", folder)[1]
    assert "unchanged" in command("season", "add", folder)[1]
    result = make_result()
    corrected = result.pushes.assign(edge_angle_deg=1.5)
    write_results(dataclasses.replace(result, pushes=corrected), folder, {})
    status, said, _ = command("season", "add", folder)
    assert status == 0
    assert "corrected (revision 2; the former is kept as history)" in said
    listed = json.loads(command("season", "list", "--history", "--json")[1])
    assert [entry["revision"] for entry in listed["sessions"]] == [1, 2]
    assert "no consent given" in listed["athletes"][0]["consent_problem"]
    assert set(read_pushes(open_store(str(store)))["edge_angle_deg"].dropna()) == {1.5}


def test_a_folder_of_results_and_one_that_is_refused(results, command, store, tmp_path):
    results("A07", name="evening/A07")
    results("B02", name="evening/B02")
    (tmp_path / "evening" / "B02" / "pushes.csv").write_text("run\n", encoding="utf-8")
    status, said, talk = command("season", "add", tmp_path / "evening")
    assert status == 3
    assert "A07, 2026-10-03" in said
    assert "pushes.csv: found sha256" in talk
    assert read_sessions(open_store(str(store)))["athlete"].tolist() == ["A07"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            {"format": 99, "version": "7.1"},
            "results of format 99 (made by version 7.1), wanted format 1; update the program",
        ),
        ({"format": None}, "wanted format 1; analyse the session again"),
        ({"session": {"athlete": "A07"}}, "no 'date'; wanted all facts of a session; analyse it again"),
    ],
)
def test_results_of_an_unknown_version_are_refused(results, command, store, change, said):
    folder = results()
    path = folder / "provenance.json"
    path.write_text(json.dumps(json.loads(path.read_text(encoding="utf-8")) | change), encoding="utf-8")
    status, _, talk = command("season", "add", folder)
    assert status == 3
    assert said in talk
    assert len(talk.strip().splitlines()) == 1
    assert read_sessions(open_store(str(store))).empty


@pytest.mark.usefixtures("store")
def test_a_session_of_tomorrow_and_a_second_birth_year(results, command, consented):
    future = results(name="future", day=3, date=dt.date(2199, 1, 1))
    status, _, talk = command("season", "add", future)
    assert status == 1
    assert "dated 2199-01-01, today is" in talk
    consented()
    status, _, talk = command("season", "add", results(birth_year=2011))
    assert status == 1
    assert "born in 2012 by the store, in 2011 by what is added" in talk
    assert command("season", "birth-year", "A07", 2011)[0] == 0
    assert command("season", "add", results(birth_year=2011))[0] == 0


@pytest.mark.usefixtures("store")
def test_without_consent_no_table_and_the_reason(results, command, consented, tmp_path):
    command("season", "add", results("A07", name="a"), results("B02", name="b"))
    status, _, talk = command("season", "table", "--out", tmp_path / "table")
    assert status == 1
    assert "no consent given by" in talk
    assert not (tmp_path / "table").exists()
    consented("A07")
    status, said, talk = command("season", "table", "--out", tmp_path / "table", "--json")
    assert status == 0
    assert "B02: left out: no consent" in talk
    assert json.loads(said)["athletes"] == ["A07"]
    assert set(pd.read_csv(tmp_path / "table" / "runs.csv")["athlete"]) == {"A07"}
    assert command("season", "consent", "withdraw", "A07")[0] == 0
    assert "withdrawn on" in command("season", "table", "--out", tmp_path / "table")[2]
    assert "withdrawn on" in command("season", "consent", "show", "A07")[1]


@pytest.mark.parametrize(
    ("row", "names"),
    [("push", {"sessions", "pushes"}), ("run", {"sessions", "runs"}), ("session", {"sessions", "symmetry"})],
)
@pytest.mark.usefixtures("store")
def test_a_table_is_tidy_described_and_the_same_in_both_formats(
    results, command, consented, tmp_path, row, names
):
    pytest.importorskip("pyarrow")
    command("season", "add", results("A07", name="a"), results("A07", 10, name="b"))
    consented()
    out = tmp_path / "table"
    formats = ("--format", "csv", "--format", "parquet")
    assert command("season", "table", "--row", row, *formats, "--out", out)[0] == 0
    verify(out)
    package = json.loads((out / "datapackage.json").read_text(encoding="utf-8"))
    assert {resource["name"] for resource in package["resources"]} == names | {
        f"{name}-parquet" for name in names
    }
    for resource in package["resources"]:
        fields = [field["name"] for field in resource["schema"]["fields"]]
        path = out / resource["path"]
        table = pd.read_csv(path) if path.suffix == ".csv" else pd.read_parquet(path)
        assert table.columns.tolist() == fields
        assert not table.duplicated(resource["schema"]["primaryKey"]).any()
        undescribed = [field["name"] for field in resource["schema"]["fields"] if "description" not in field]
        assert undescribed == []
    if row == "push":
        text, exact = pd.read_csv(out / "pushes.csv"), pd.read_parquet(out / "pushes.parquet")
        assert len(text) == 2 * 57
        np.testing.assert_allclose(text["blade_off_s"], exact["blade_off_s"], atol=0.5e-5, rtol=0)


@pytest.mark.usefixtures("store")
def test_everything_about_one_person_is_handed_over(results, command, consented, tmp_path):
    command("season", "add", results("A07", name="a"), results("B02", name="b"))
    consented()
    out = tmp_path / "mine"
    assert command("season", "export", "--athlete", "A07", "--out", out)[0] == 0
    person = verify(out)["person"]
    assert (person["athlete"], person["birth_year"]) == ("A07", 2012)
    assert person["consents"][0]["given_by"] == "guardian"
    assert {entry["name"] for entry in person["inputs"]} == {"run-1/l.csv"}
    assert {Path(entry["path"]).name for entry in person["written"]} == {"a", "mine"}
    for name in ("sessions", "runs", "pushes", "symmetry"):
        assert set(pd.read_csv(out / f"{name}.csv")["athlete"]) == {"A07"}
    assert holding(out, "B02") == []


def test_a_person_is_forgotten_to_the_last_byte(results, command, store, consented, tmp_path):
    command("season", "add", results(CODE, name="evening/one"), results("B02", name="evening/two"))
    consented(CODE)
    consented("B02")
    assert command("season", "table", "--out", tmp_path / "table")[0] == 0
    assert command("season", "table", "--athlete", "B02", "--out", tmp_path / "others")[0] == 0
    assert command("season", "export", "--athlete", CODE, "--out", tmp_path / "export")[0] == 0
    shutil.copy(store, store.with_name("season.db.before-2-20261001T000000"))
    moved = results(CODE, 10, name="moved")
    command("season", "add", moved)
    moved.rename(tmp_path / "elsewhere")
    before = {path for path in tmp_path.rglob("*") if path.is_file()}
    status, planned, _ = command("season", "forget", "--athlete", CODE, "--dry-run", "--json")
    assert status == 0
    assert {path for path in tmp_path.rglob("*") if path.is_file()} == before
    status, said, _ = command("season", "forget", "--athlete", CODE, "--yes", "--json")
    assert status == 0
    done = json.loads(said)
    assert done["removed"] == json.loads(planned)["removed"]
    assert {Path(path).name for path in done["removed"]} >= {"one", "table", "export"}
    shutil.rmtree(tmp_path / "elsewhere")  # what the command says nobody but the user can find
    assert any("moved" in entry and "by hand" in entry for entry in done["left"])
    assert any("sent, printed" in entry for entry in done["left"])
    assert holding(tmp_path) == []
    assert (tmp_path / "evening" / "two" / "summary.html").exists()
    assert (tmp_path / "others" / "runs.csv").exists()
    assert problems(open_store(str(store))) == []
    assert read_sessions(open_store(str(store)))["athlete"].tolist() == ["B02"]


def test_a_list_of_pages_that_names_the_person_goes_too(session, command, store, tmp_path):
    other = shutil.copytree(session, tmp_path / "other")
    declared = (other / "session.toml").read_text(encoding="utf-8")
    (other / "session.toml").write_text(
        declared.replace('athlete = "Q11"', f'athlete = "{CODE}"'), encoding="utf-8"
    )
    evening = tmp_path / "evening"
    assert command("analyse", session, other, "--out", evening)[0] == 0
    assert command("season", "add", evening)[0] == 0
    assert CODE in (evening / "index.html").read_text(encoding="utf-8")
    assert command("season", "forget", "--athlete", CODE, "--yes")[0] == 0
    assert holding(evening) == holding(store.parent) == []
    assert (evening / "session" / "summary.html").exists()


@pytest.mark.usefixtures("store")
def test_what_is_not_ours_is_never_removed(results, command):
    folder = results(CODE)
    command("season", "add", folder)
    (folder / "notes.txt").write_text("mine", encoding="utf-8")
    status, said, _ = command("season", "forget", "--athlete", CODE, "--yes", "--json")
    assert status == 0
    assert any("notes.txt" in entry and "left as it is" in entry for entry in json.loads(said)["left"])
    assert (folder / "notes.txt").read_text(encoding="utf-8") == "mine"


@pytest.mark.usefixtures("store")
def test_results_that_another_took_over_stay(results, command):
    command("season", "add", results(CODE))
    folder = results("B02")
    assert command("season", "forget", "--athlete", CODE, "--yes")[0] == 0
    assert verify(folder)["session"]["athlete"] == "B02"


def test_without_a_terminal_nothing_is_removed_unless_told(results, command, store, monkeypatch):
    command("season", "add", results())
    monkeypatch.setattr("sys.stdin", io.StringIO())
    status, _, talk = command("season", "forget", "--athlete", "A07")
    assert status == 2
    assert "--yes" in talk
    status, _, talk = command("season", "remove", "A07", "--date", "2026-10-03", "--session", "made-by-hand")
    assert status == 2
    assert len(read_sessions(open_store(str(store)))) == 1
    assert (
        command("season", "remove", "A07", "--date", "2026-10-03", "--session", "made-by-hand", "--yes")[0]
        == 0
    )
    assert read_sessions(open_store(str(store))).empty


@pytest.mark.usefixtures("store")
def test_an_athlete_nobody_knows_is_told_by_every_command(results, command, tmp_path):
    command("season", "add", results())
    for arguments in (
        ("list", "--athlete", "X99"),
        ("export", "--athlete", "X99", "--out", tmp_path / "x"),
        ("table", "--athlete", "X99", "--out", tmp_path / "x"),
        ("forget", "--athlete", "X99", "--yes"),
        ("consent", "show", "X99"),
        ("consent", "withdraw", "X99"),
        ("birth-year", "X99", "2011"),
        ("remove", "X99", "--date", "2026-10-03", "--session", "x", "--yes"),
    ):
        status, _, talk = command("season", *arguments)
        assert (status, talk) == (
            1,
            "imustride: athlete 'X99': not in this store; `imustride season list` tells who is\n",
        )
    assert not (tmp_path / "x").exists()


@pytest.mark.usefixtures("store")
def test_nothing_is_kept_by_a_dry_run(results, command):
    folder = results()
    assert "(dry run, not kept)" in command("season", "add", folder, "--dry-run")[1]
    command("season", "add", folder)
    command("season", "consent", "record", "A07", "--by", "self", "--birth-year", "1990", "--dry-run")
    assert json.loads(command("season", "consent", "show", "A07", "--json")[1])["consents"] == []
    assert command("season", "check")[1].endswith("holds together\n")


def test_killed_twenty_times_nothing_is_lost():
    """The full count is a benchmark of its own; this is the same program."""
    command = [sys.executable, "-m", "tests.benchmark.season_kills", "--kills", "20"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    seen = json.loads(done.stdout)
    assert seen["reported"] > 0
    assert (seen["lost"], seen["half"], seen["unsound"], seen["failed"]) == (0, 0, 0, 0)


@pytest.fixture(scope="module")
def server(lacks):
    if postgres.programs() is None:
        lacks(postgres.MISSING)
    with postgres.running_server() as running:
        yield running


@pytest.fixture(params=["file", "server"])
def place(request, tmp_path):
    if request.param == "file":
        return str(tmp_path / "kept" / "season.db")
    return request.getfixturevalue("server").database("together")


def test_eight_processes_at_once_all_there_once(results, place):
    """Each adds a session of its own and one that all add; none of them finds a store at the start."""
    common = results("B02", name="common")
    own = [results("A07", day + 1, name=f"own-{day}") for day in range(8)]
    command = [
        sys.executable,
        "-c",
        "from imustride.cli import main; main()",
        "season",
        "add",
        "--store",
        place,
    ]
    children = [
        subprocess.Popen(
            [*command, folder, common], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        for folder in own
    ]
    said = [child.communicate() for child in children]
    assert [child.returncode for child in children] == [0] * 8, said
    assert sum("B02, 2026-10-03, made-by-hand: added" in out for out, _ in said) == 1
    assert sum("B02, 2026-10-03, made-by-hand: unchanged" in out for out, _ in said) == 7
    store = open_store(place)
    assert problems(store) == []
    sessions = read_sessions(store)
    assert sorted(sessions["date"][sessions["athlete"] == "A07"]) == [
        f"2026-10-0{day + 1}" for day in range(8)
    ]
    assert sessions["athlete"].tolist().count("B02") == 1
    assert len(read_pushes(store)) == 9 * 57


def test_the_same_commands_on_a_server(results, server, command, tmp_path, monkeypatch, consented):
    monkeypatch.setenv("IMUSTRIDE_STORE", server.database("commands"))
    folder = results(CODE)
    assert "added" in command("season", "add", folder)[1]
    assert "unchanged" in command("season", "add", folder)[1]
    consented(CODE)
    assert command("season", "table", "--row", "push", "--out", tmp_path / "table")[0] == 0
    assert len(pd.read_csv(tmp_path / "table" / "pushes.csv")) == 57
    assert command("season", "check")[0] == 0
    assert holding(server.folder)
    status, _, talk = command("season", "forget", "--athlete", CODE, "--yes")
    assert status == 0, talk
    assert holding(server.folder) == holding(tmp_path) == []


def test_help_of_every_command_has_an_example(command):
    for arguments in ((), ("consent",), ("add",), ("table",), ("forget",), ("consent", "record")):
        assert "Example: imustride season" in command("season", *arguments, "--help")[1]


def test_a_server_that_does_not_answer_is_told(command):
    status, _, talk = command("season", "list", "--store", "postgresql://nobody@127.0.0.1:9/none")
    assert status == 1
    assert "check that the server runs" in talk
    assert run(["season", "list", "--store", "x://y", "--quiet"]) == 1
