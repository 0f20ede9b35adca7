"""From a run in closed form to captions: the command, its refusals, the shock that a film lets hear."""

import dataclasses
import datetime as dt
import json

import numpy as np
import pytest
import webvtt as independent
from scipy.spatial.transform import Rotation

from imustride import pipeline
from imustride.cli.boundary import run as command
from imustride.errors import SignalQualityError
from imustride.filming import first_blade_off_s, shocks_before_s
from imustride.season.consent import Consent, record_consent, withdraw_consent
from imustride.season.people import find_athlete
from imustride.season.store import open_store
from tests.hand_built import SHOCKS_S, skate_log

RATE_HZ = 400.0
TURN = Rotation.from_euler("xyz", [20, -35, 110], degrees=True).as_matrix()
LATE_S = -55.0  # what the right sensor's clock shows more than the left one's


@pytest.fixture(scope="module")
def analysed():
    logs = {
        "left_skate": skate_log("left", RATE_HZ, TURN, offset_s=100.0, seed=1),
        "right_skate": skate_log("right", RATE_HZ, TURN.T, offset_s=100.0 + LATE_S, drift=2e-5, seed=2),
    }
    return pipeline.analyse_logs("run-1", logs)


@pytest.fixture
def session(analysed, make_result, monkeypatch, tmp_path):
    """A session folder of that run, whose analysis is at hand; give what was written."""
    made = make_result()

    def opened(consent="guardian", birth_year=None, names=("run-1",)):
        told = made.session.model_copy(
            update={
                "consent": consent,
                "birth_year": birth_year,
                "runs": tuple(made.session.runs[0].model_copy(update={"name": name}) for name in names),
            }
        )
        runs = tuple(dataclasses.replace(analysed, name=name) for name in names)
        result = dataclasses.replace(made, session=told, runs=runs)
        monkeypatch.setattr("imustride.loaders.open_session", lambda _: told)
        monkeypatch.setattr(pipeline, "analyse_session", lambda *_: result)
        return tmp_path / "captions"

    return opened


def captions(*arguments, consent="guardian"):
    words = [str(word) for word in arguments]
    return command(["export", "captions", "s", *words, *(["--film-consent", consent] if consent else [])])


def test_the_first_shared_shock_is_found_where_it_was(analysed):
    # On paper: the log's clock shows 100 s more than the truth; two shocks before the run, two after it.
    found = shocks_before_s(analysed)
    np.testing.assert_allclose(found, 100.0 + np.array(SHOCKS_S[:2]), atol=0.006)


def test_the_first_blade_off_is_that_of_the_foot_that_lifts_first(analysed):
    assert first_blade_off_s(analysed) == pytest.approx(106.62, abs=0.03)


def test_what_cannot_be_told_of_a_run_is_refused(analysed):
    one = dataclasses.replace(analysed, kinematics={"left": analysed.kinematics["left"]})
    with pytest.raises(SignalQualityError, match="both skates"):
        shocks_before_s(one)
    with pytest.raises(SignalQualityError, match="no blade-off"):
        first_blade_off_s(dataclasses.replace(analysed, pushes=analysed.pushes[:0]))


@pytest.mark.parametrize(
    ("option", "at_s", "truth_s"),
    [("--offset", -90.0, -90.0 + 100.0), ("--blade-off-at", 16.62, 10.0), ("--shock-at", 11.2, 10.0)],
)
def test_a_push_is_shown_when_it_happens(session, option, at_s, truth_s):
    # However the film's time is told, here it is the truth plus ten seconds.
    out = session()
    assert captions(option, at_s, "--out", out) == 0
    found = {cue.text.splitlines()[0]: cue for cue in independent.read(str(out / "run-1.vtt"))}
    assert sorted(found) == sorted(
        f"{foot}{push}" for foot, last in (("L", 7), ("R", 6)) for push in range(1, last + 1)
    )
    # Left push 3 stands on the ice from 8.02 s to 8.43 s, and again from 8.78 s.
    third = found["L3"]
    assert third.start_in_seconds + third.start_time.milliseconds / 1000 == pytest.approx(
        truth_s + 8.02, abs=0.05
    )
    assert third.end_in_seconds + third.end_time.milliseconds / 1000 == pytest.approx(
        truth_s + 8.78, abs=0.05
    )


def test_captions_speak_the_language_asked_for(session, analysed):
    out = session()
    assert captions("--offset", "0", "--language", "fr", "--out", out / "all.vtt") == 0
    texts = [cue.text for cue in independent.read(str(out / "all.vtt"))]
    rows = analysed.pushes[analysed.pushes["push"] > 0].set_index(["side", "push"])
    contact = f"{rows.loc['left', 3]['contact_time_s']:.3f}".replace(".", ",")
    turn = f"{rows.loc['left', 3]['push_off_angular_velocity_deg_s']:.0f}"
    assert f"L3\ntemps sur la glace {contact}\N{NO-BREAK SPACE}s\nbascule vers la pointe {turn}°/s" in texts
    assert any("temps sur la glace \N{EN DASH}" in text for text in texts)  # from standing


def test_nothing_is_written_without_consent(session, capsys):
    out = session()
    assert captions("--offset", "0", "--out", out, consent=None) == 2
    assert "nobody said that the athlete agreed to be filmed" in capsys.readouterr().err
    session(consent=None)
    assert captions("--offset", "0", "--out", out) == 2
    assert "declares no consent" in capsys.readouterr().err
    session(birth_year=2012)
    assert captions("--offset", "0", "--out", out, consent="self") == 2
    assert "a minor's own (born in 2012)" in capsys.readouterr().err
    assert not out.exists()
    assert captions("--offset", "0", "--out", out) == 0


GIVEN, WITHDRAWN = dt.date(2026, 1, 10), dt.date(2026, 2, 1)


@pytest.fixture
def store(tmp_path, monkeypatch):
    """A store in which the guardian's consent for the athlete is on record; it is the one that counts."""
    place = tmp_path / "season.db"
    made = open_store(str(place), create=True)
    given = Consent("guardian", GIVEN, ("group",), assent=True)
    record_consent(made, "A07", given, birth_year=dt.datetime.now().astimezone().year - 14)
    monkeypatch.setenv("IMUSTRIDE_STORE", str(place))
    return made


@pytest.mark.parametrize("is_named", [True, False])
def test_consent_withdrawn_in_the_store_counts_whatever_the_session_says(
    session, store, tmp_path, monkeypatch, capsys, is_named
):
    out = session()
    more = []
    if is_named:
        monkeypatch.delenv("IMUSTRIDE_STORE")
        more = ["--store", tmp_path / "season.db"]
    assert captions("--offset", "0", "--out", out, "--dry-run", *more) == 0
    withdraw_consent(store, "A07", WITHDRAWN)
    capsys.readouterr()
    assert captions("--offset", "0", "--out", out, *more) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "the consent of 2026-01-10 (given by: guardian) was withdrawn on 2026-02-01" in said
    assert "imustride season consent record A07" in said
    assert not out.exists()


def test_a_store_without_consent_on_record_leaves_it_to_the_session(session, tmp_path):
    out = session()
    store = open_store(str(tmp_path / "season.db"), create=True)
    more = ("--store", tmp_path / "season.db", "--dry-run")
    assert captions("--offset", "0", "--out", out, *more) == 0  # the athlete is not known there
    with store.writing() as connection:
        find_athlete(connection, "A07", 2012)
    assert captions("--offset", "0", "--out", out, *more) == 0


def test_a_store_that_is_not_there_is_told(session, tmp_path, capsys):
    out = session()
    assert captions("--offset", "0", "--out", out, "--store", tmp_path / "none.db") != 0
    assert "none.db" in capsys.readouterr().err
    assert not out.exists()


def test_each_run_has_a_film_of_its_own_or_all_share_one(session, capsys):
    out = session(names=("run-1", "run-2", "run-3"))
    told = ["--shock-at", "run-1=11.2", "--blade-off-at", "run-3=116.62"]
    assert captions(*told, "--out", out, "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert [run["run"] for run in said["runs"]] == ["run-1", "run-3"]
    assert [run["offset_s"] for run in said["runs"]] == pytest.approx([-90.0, 10.0], abs=0.03)
    assert sorted(path.name for path in out.iterdir()) == ["run-1.vtt", "run-3.vtt"]
    assert captions(*told, "--out", out / "both.vtt") == 0
    starts = [cue.start for cue in independent.read(str(out / "both.vtt"))]
    assert len(starts) == 26
    assert starts == sorted(starts)


@pytest.mark.parametrize(
    ("told", "said"),
    [
        ([], "give one of --offset, --blade-off-at, --shock-at"),
        (["--offset", "1"], "the session has several runs"),
        (["--offset", "run-9=1"], "found run 'run-9'"),
        (["--offset", "run-1=soon"], "found 'soon'"),
        (["--offset", "run-1=nan"], "found 'nan'"),
        (["--offset", "run-1=1e9"], "found '1e9'"),
        (["--offset", "run-1=1", "--shock-at", "run-1=2"], "named twice"),
        (["--offset", "run-1=1", "--language", "xx"], "--language: found 'xx'"),
    ],
)
def test_wrong_usage_is_told(session, capsys, told, said):
    out = session(names=("run-1", "run-2"))
    assert captions(*told, "--out", out) == 2
    assert said in capsys.readouterr().err
    assert not out.exists()


def test_a_run_that_no_film_can_show_is_told_and_the_others_are_written(
    session, analysed, monkeypatch, capsys
):
    out = session(names=("run-1", "run-2"))
    whole = pipeline.analyse_session()
    apart = dataclasses.replace(whole.runs[0], pushes=analysed.pushes.assign(flags="clocks_not_synchronised"))
    mixed = dataclasses.replace(whole, runs=(apart, whole.runs[1]))
    monkeypatch.setattr(pipeline, "analyse_session", lambda *_: mixed)
    assert captions("--offset", "run-1=0", "--offset", "run-2=0", "--out", out) == 3
    assert "run-1: the clocks of the two skates are not joined" in capsys.readouterr().err
    assert [path.name for path in out.iterdir()] == ["run-2.vtt"]


def test_a_dry_run_writes_nothing(session, capsys):
    out = session()
    assert captions("--offset", "0", "--out", out, "--dry-run") == 0
    assert "would be written (dry run)" in capsys.readouterr().out
    assert not out.exists()
