"""A season compared by its command: on a real store, with planted courses."""

import json
import math
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from imustride.exporting import verify
from imustride.keeping import compare_season, named_family
from imustride.season.family import SeasonSettings
from imustride.season.reading import Chosen
from imustride.season.store import open_store
from tests.kept_season import keep_season

STEP_S = 0.04
NEW = {"conditions": {"skates": "new"}}


def quiet(count=6, sessions=8):
    return {f"A{number:02d}": np.full(sessions, 0.28 + 0.01 * number) for number in range(count)}


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    """Eight sessions: A03 makes a step with new skates, B09 has no consent, A04 was once on synthetic ice."""
    place = tmp_path_factory.mktemp("kept") / "season.db"
    courses = {**quiet(), "B09": np.full(8, 0.3)}
    courses["A03"] = np.r_[np.full(4, 0.30), np.full(4, 0.30 + STEP_S)]
    facts = {("A03", number): NEW for number in range(4, 8)}
    facts["A04", 2] = {"surface": "synthetic"}
    facts["A04", 3] = {"sensors": [{"place": f"{side}_skate", "mount": "boot", "rate_hz": 500.0,
                                   "bandwidth_hz": None, "calibrated": True} for side in ("left", "right")]}  # fmt: skip
    asymmetry = {"A02": np.full(8, 6.0)}
    keep_season(place, courses, asymmetry, facts=facts, consent={"B09"})
    return place


@pytest.fixture
def compare(command, kept):
    def call(*arguments):
        return command("season", "compare", "--store", kept, *arguments)

    return call


def courses(said):
    return {(one["athlete"], one["name"]): one for one in json.loads(said)["courses"]}


def test_a_planted_change_is_real_and_what_changed_beside_is_told(compare):
    status, said, _ = compare("--athlete", "A03")
    assert status == 0
    row = next(line for line in said.splitlines() if line.startswith("contact_time_s ["))
    assert "real change" in row
    assert "from 2025-11-01" in row
    assert "changed on 2025-11-01: skates: old, then new" in said
    assert "p < 0.001" in said
    found = courses(compare("--athlete", "A03", "--json")[1])["A03", "contact_time_s"]
    assert found["judged"]["step"] == pytest.approx(STEP_S, abs=0.01)
    assert found["judged"]["learnt_from"] == 5
    changed = [point["date"] for point in found["points"] if point["changed"]]
    assert changed == ["2025-11-01"]


def test_null_courses_are_not_called_changes_and_nobody_is_ranked(compare):
    status, said, talk = compare("--group", "--json")
    assert status == 0
    told = json.loads(said)
    assert told["athletes"] == sorted(told["athletes"]) == [f"A{number:02d}" for number in range(6)]
    assert "B09: left out: no consent" in talk
    real = [key for key, one in courses(said).items() if one["judged"]["verdict"] == "real change"]
    assert set(real) == {
        ("A03", "contact_time_s"),
        ("A03", "gate_time_s"),
    }  # the gate time follows the contact


def test_only_like_with_like(compare):
    found = courses(compare("--athlete", "A04", "--json")[1])["A04", "contact_time_s"]
    assert len(found["points"]) == 6
    assert [(one["word"], one["reasons"]) for one in found["apart"]] == [
        ("refused", ["surface: synthetic and ice"]),
        ("shown apart", ["mount: boot and holder"]),
    ]
    said = compare("--athlete", "A04")[1]
    assert "refused: surface: synthetic and ice: 2025-10-04 evening" in said


def test_a_side_that_stays_and_one_that_does_not(compare):
    name = "asymmetry:contact_time_s"
    found = courses(compare("--group", "--json", "--metric", name)[1])
    assert found["A02", name]["side"]["side"] == "right, consistently"
    assert found["A02", name]["side"]["mean"] == pytest.approx(6.0, abs=1.0)
    assert found["A01", name]["side"]["side"] == "no consistent side"


def test_reliability_leaves_out_who_changed(compare):
    found = courses(compare("--group", "--json", "--metric", "contact_time_s")[1])["A03", "contact_time_s"]
    typical = next(one for one in found["reliability"] if one["scope"] == "session to session"
                   and one["quantity"] == "typical error")  # fmt: skip
    assert typical["athletes"] == 5
    # The planted noise: 4 ms a session, 4 ms a run over three runs, 4 ms a push over ten.
    assert typical["value"] == pytest.approx(math.hypot(0.004, 0.004 / math.sqrt(3)), rel=0.35)
    assert found["own_error"]["value"] > typical["value"]  # his own has the step in it


def test_without_consent_the_reason(compare):
    status, said, talk = compare("--athlete", "B09")
    assert (status, said) == (1, "")
    assert "no consent given by" in talk
    assert "season consent record B09" in talk


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "name whom to compare"),
        (("--athlete", "A01", "--group"), "name whom to compare"),
        (("--athlete", "A01", "--metric", "nothing"), "found 'nothing'"),
        (("--athlete", "A01", "--matters", "x"), "wanted NAME=SIZE"),
        (("--athlete", "A01", "--matters", "step_time_s=1"), "step_time_s is not among what is compared"),
        (("--athlete", "A01", "--matters", "contact_time_s=0"), "wanted more than 0"),
        (("--athlete", "A01", "--language", "xx"), "wanted one of en, fr"),
    ],
)
def test_wrong_usage(compare, arguments, said):
    status, _, talk = compare(*arguments)
    assert status == 2
    assert said in talk


def test_three_sessions_are_unclear_and_say_what_is_missing(compare):
    status, said, _ = compare(
        "--athlete", "A03", "--from", "2025-10-18", "--to", "2025-11-15", "--metric", "contact_time_s"
    )
    assert status == 0
    assert ": real change" not in said
    assert "a change is told from 4 on" in said
    assert "at least 1 more are needed" in said


def test_a_span_without_sessions(compare):
    status, said, _ = compare("--athlete", "A03", "--from", "2026-01-01")
    assert status == 0
    assert "no session with a value" in said


def test_what_matters_can_be_given(compare):
    arguments = ("--athlete", "A01", "--metric", "contact_time_s", "--matters", "contact_time_s=0.05")
    status, said, _ = compare(*arguments)
    assert status == 0
    assert "no change that matters: no lasting step can be as large as what matters" in said


def test_pages_are_noted_written_and_forgotten(command, tmp_path):
    place, code = tmp_path / "season.db", "ZebraQuark77"
    keep_season(place, {**quiet(2, 5), code: np.full(5, 0.3)})
    out = tmp_path / "pages"
    status, said, _ = command("season", "compare", "--group", "--store", place, "--out", out)
    assert status == 0
    assert f"page: {out / 'group.html'}" in said
    assert {path.name for path in out.iterdir()} == {
        "group.html", "season-A00.html", "season-A01.html", f"season-{code}.html", "changes.csv",
        "sessions.csv", "provenance.json"}  # fmt: skip
    assert verify(out)["athletes"] == ["A00", "A01", code]
    changes = pd.read_csv(out / "changes.csv")
    assert len(changes) == 3 * 6
    assert set(changes["verdict"]) <= {"real change", "unclear", "no change that matters"}
    assert command("season", "compare", "--group", "--store", place, "--out", out)[0] == 0  # may be replaced
    assert command("season", "forget", "--athlete", code, "--yes", "--store", place)[0] == 0
    assert not out.exists()
    left = [path for path in tmp_path.rglob("*") if path.is_file() and code.encode() in path.read_bytes()]
    assert left == []


def test_a_folder_of_others_is_left_alone(compare, tmp_path):
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    status, _, talk = compare("--athlete", "A01", "--out", tmp_path)
    assert status == 2
    assert "which is no result of this program" in talk
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_of_those_noise_is_learnt_from_nothing_is_shown(compare, tmp_path):
    assert compare("--athlete", "A03", "--out", tmp_path / "page")[0] == 0
    text = "".join(path.read_text(encoding="utf-8") for path in (tmp_path / "page").iterdir())
    assert "A03" in text
    assert not any(code in text for code in ("A00", "A01", "A02", "A04", "A05", "B09"))


def test_consent_to_a_group_is_asked_of_those_noise_is_learnt_from(tmp_path):
    courses = quiet(3)
    store = keep_season(tmp_path / "season.db", courses, consent={"A01", "A02"})
    settings = SeasonSettings()
    result = compare_season(store, Chosen(("A00",)), named_family(settings, ("contact_time_s",)), settings)
    assert result.courses[0].judged["learnt_from"] == 0


def test_the_store_is_left_as_it_was(compare, kept):
    before = Path(kept).read_bytes()
    compare("--group")
    assert Path(kept).read_bytes() == before
    assert open_store(str(kept)).shown


def test_one_session_has_no_interval_and_none_is_printed(compare, tmp_path):
    course = courses(compare("--athlete", "A02", "--json")[1])["A02", "contact_time_s"]
    last = max(point["date"] for point in course["points"])
    status, said, _ = compare("--athlete", "A02", "--from", last, "--out", tmp_path / "page")
    assert status == 0
    assert "1 session with a value" in said
    assert "of 1 session; mean" in said
    page = (tmp_path / "page" / "season-A02.html").read_text(encoding="utf-8")
    assert not re.search(r"\bnan\b", said + page)
