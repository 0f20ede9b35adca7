"""The athlete's own typical error as the smallest difference of an analysis."""

import dataclasses
import datetime as dt
import json

import numpy as np
import pandas as pd
import pytest

from imustride.exporting import write_results
from imustride.pipeline import analyse_session
from imustride.season.store import open_store

METRIC, PHASE = "contact_time_s", "later"
# Differences of successive sessions: 2, -3, 1, 4, -2, 3; squares 43; typical error sqrt(43 / 6 / 2).
INDEX_PERCENT = np.array([1.0, 3.0, 0.0, 1.0, 5.0, 3.0, 6.0])
TYPICAL_PERCENT = np.sqrt(43 / 12)
CONVENTION = "convention, no source"


@pytest.fixture(scope="module")
def analysed(invented):
    return analyse_session(invented)


@pytest.fixture
def store(analysed, tmp_path, command):
    """Seven sessions of the same athlete, sensors and place, at known indices of one metric."""
    place = tmp_path / "season.db"
    for number, index in enumerate(INDEX_PERCENT):
        table = analysed.symmetry.copy()
        here = (table["metric"] == METRIC) & (table["phase"] == PHASE)
        table.loc[here, "symmetry_index_percent"] = index
        other = table["metric"] == "edge_angle_deg"
        table.loc[other, "difference"] = np.nan
        on = dt.date(2025, 9, 1) + dt.timedelta(days=7 * number)
        session = analysed.session.model_copy(update={"date": on})
        write_results(
            dataclasses.replace(analysed, session=session, symmetry=table), tmp_path / f"r{number}", {}
        )
        assert command("season", "add", tmp_path / f"r{number}", "--store", place)[0] == 0
    return place


@pytest.fixture
def consented(command, store, analysed):
    arguments = ("--by", "guardian", "--assent", "--birth-year", "2012", "--date", "2025-09-01")
    athlete = analysed.session.athlete
    assert command("season", "consent", "record", athlete, *arguments, "--store", store)[0] == 0


def judged(out):
    table = pd.read_csv(out / "symmetry.csv")
    return table.set_index(["phase", "metric"])[["smallest_difference", "smallest_difference_source"]]


@pytest.mark.usefixtures("consented")
def test_it_stands_in_the_table_with_its_source_and_on_the_page(command, session, store, tmp_path):
    out = tmp_path / "out"
    assert command("analyse", session, "--out", out, "--store", store)[0] == 0
    table = judged(out)
    value, source = table.loc[PHASE, METRIC]
    assert value == pytest.approx(TYPICAL_PERCENT, rel=1e-5)
    assert source == "own typical error from session to session, 7 sessions, 2025-09-01 to 2025-10-13"
    assert table.loc[PHASE, "edge_angle_deg"].tolist() == [2.0, CONVENTION]  # no session has a value
    assert (
        table.loc["acceleration", METRIC]["smallest_difference_source"] == CONVENTION
    )  # no scatter: not known
    page = (out / "summary.html").read_text(encoding="utf-8")
    assert "own typical error from session to session, 7 sessions, 2025-09-01 to 2025-10-13" in page


def test_without_a_store_nothing_changes(command, session, tmp_path, monkeypatch):
    monkeypatch.delenv("IMUSTRIDE_STORE", raising=False)
    assert command("analyse", session, "--out", tmp_path / "plain")[0] == 0
    monkeypatch.setenv("IMUSTRIDE_STORE", str(tmp_path / "not-there.db"))
    assert command("analyse", session, "--out", tmp_path / "again")[0] == 0
    first, second = ((tmp_path / name / "symmetry.csv").read_bytes() for name in ("plain", "again"))
    assert first == second
    assert b"own typical error" not in first
    assert "own typical error" not in (tmp_path / "plain" / "summary.html").read_text(encoding="utf-8")


def test_a_store_that_was_named_must_be_there(command, session, tmp_path):
    status, _, talk = command(
        "analyse", session, "--out", tmp_path / "out", "--store", tmp_path / "not-there.db"
    )
    assert status == 1
    assert "there is no season store" in talk
    assert not (tmp_path / "out").exists()


def test_without_consent_it_is_not_used_and_the_reason_told(command, session, store, tmp_path):
    out = tmp_path / "out"
    status, _, talk = command("analyse", session, "--out", out, "--store", store)
    assert status == 0
    assert "the season was not looked at: no consent given" in talk
    assert set(judged(out)["smallest_difference_source"].dropna()) == {CONVENTION}


@pytest.mark.usefixtures("consented")
def test_results_are_kept_only_while_the_season_says_the_same(command, session, store, tmp_path, monkeypatch):
    out = tmp_path / "out"

    def again():
        said = command("analyse", session, "--out", out, "--json")[1]
        return json.loads(said)["sessions"][0].get("kept", False)

    assert not again()
    assert again()
    monkeypatch.setenv("IMUSTRIDE_STORE", str(store))
    assert not again()  # now the own typical error counts
    assert again()
    athlete = json.loads((out / "provenance.json").read_text(encoding="utf-8"))["session"]["athlete"]
    assert command("season", "consent", "withdraw", athlete, "--store", store)[0] == 0
    assert not again()
    assert set(judged(out)["smallest_difference_source"].dropna()) == {CONVENTION}


@pytest.mark.usefixtures("consented")
def test_sessions_that_are_not_comparable_do_not_count(command, session, store, tmp_path):
    declared = session / "session.toml"
    text = declared.read_text(encoding="utf-8").replace("sprint-100ft", "sprint-20m")
    declared.write_text(text, encoding="utf-8")
    assert command("analyse", session, "--out", tmp_path / "out", "--store", store)[0] == 0
    assert set(judged(tmp_path / "out")["smallest_difference_source"].dropna()) == {CONVENTION}
    assert open_store(str(store)).shown
