import dataclasses
import json

import pytest

from imustride.errors import CalibrationError, SettingsError, SignalQualityError
from imustride.settings import Settings


def test_one_session_goes_to_the_folder_itself(pipeline, command, tmp_path):
    status, out, err = command("analyse", "demo", "--out", tmp_path / "results")
    assert status == 0
    assert pipeline.written == [tmp_path / "results"]
    assert err == "analysing demo\n"
    assert out.splitlines()[-1] == f"page: {tmp_path / 'results' / 'summary.html'}"


@pytest.mark.usefixtures("pipeline")
def test_the_table_says_what_counts_and_why_not(command, tmp_path):
    _, out, _ = command("analyse", "demo", "--out", tmp_path / "results")
    lines = out.splitlines()
    assert lines[0] == "A07, 2026-10-03, sprint-100ft, ice"
    assert [" ".join(line.split()) for line in lines[2:6]] == [
        "run gate time [s] pushes L / R steps per second",
        "run-1 4.832 9 / 9 3.23 (SD 0.00, n 17) counts",
        "run-2 - 9 / 9 3.23 (SD 0.00, n 17) counts",
        "run-3 4.901 9 / 9 3.23 (SD 0.00, n 17) left out: the right sensor clipped in 4 of 9 pushes",
    ]
    assert any(" ".join(line.split()).endswith("+6.1 to +13.5 4, 6; 2 right larger") for line in lines)


def test_several_sessions_go_to_a_folder_each(pipeline, command, tmp_path):
    status, _, _ = command("analyse", "a/one", "a/two", "--out", tmp_path)
    assert status == 0
    assert pipeline.written == [tmp_path / "one", tmp_path / "two"]


def test_two_sessions_of_one_name_are_refused(pipeline, command, tmp_path):
    status, _, err = command("analyse", "a/one", "b/one", "--out", tmp_path)
    assert status == 2
    assert "'one'" in err
    assert pipeline.written == []


@pytest.mark.usefixtures("pipeline")
def test_json_alone_is_on_stdout(command, tmp_path):
    status, out, _ = command("analyse", "demo", "--out", tmp_path / "results", "--json")
    (session,) = json.loads(out)["sessions"]
    assert status == 0
    assert session["runs"][1]["gate_time_s"] is None
    assert session["runs"][2]["usable"] is False
    assert session["symmetry"][0]["verdict"] == "right larger"
    assert session["page"] == (tmp_path / "results" / "summary.html").as_posix()


def test_quiet_says_nothing(pipeline, command, tmp_path):
    assert command("analyse", "demo", "--out", tmp_path / "results", "--quiet") == (0, "", "")
    assert len(pipeline.written) == 1


def test_a_dry_run_writes_nothing_and_says_so(pipeline, command, tmp_path):
    status, out, _ = command("analyse", "demo", "--out", tmp_path / "results", "--dry-run")
    assert status == 0
    assert pipeline.written == []
    assert "nothing written" in out


def test_an_unreadable_session_is_one_line_and_the_others_go_on(pipeline, command, tmp_path):
    status, out, err = command("analyse", "broken", "demo", "--out", tmp_path, "--json")
    assert status == 3
    assert "imustride: broken/session.toml: not found; name a session folder\n" in err
    assert pipeline.written == [tmp_path / "demo"]
    assert json.loads(out)["sessions"][0]["error"].startswith("broken/session.toml")


def test_an_unreadable_run_is_told(pipeline, command, tmp_path, make_result):
    made = make_result()
    lost = dataclasses.replace(made.runs[2], readable=False, reason="run-3/right.csv: not found")
    pipeline.analyse_session = lambda *_: dataclasses.replace(made, runs=(*made.runs[:2], lost))
    status, _, err = command("analyse", "demo", "--out", tmp_path / "results")
    assert status == 3
    assert "imustride: run-3: run-3/right.csv: not found\n" in err
    assert len(pipeline.written) == 1


def test_the_filter_can_be_chosen(pipeline, command, tmp_path):
    out = tmp_path / "results"
    assert command("analyse", "demo", "--out", out)[0] == 0
    assert command("analyse", "demo", "--out", out, "--orientation", "vqf")[0] == 0
    assert pipeline.settings == [Settings(), Settings(orientation="vqf")]


def test_an_unknown_filter_is_refused_and_the_known_are_listed(pipeline, command, tmp_path):
    status, _, err = command("analyse", "demo", "--out", tmp_path / "results", "--orientation", "compass")
    assert status == 2
    assert "'compass'" in err
    assert "strapdown" in err
    assert pipeline.settings == []


def raising(error):
    def fail(*_):
        raise error

    return fail


@pytest.mark.parametrize(
    ("error", "status", "said"),
    [
        (SettingsError("no such filter"), 2, "no such filter"),
        (CalibrationError("other device"), 3, "other device"),
        (SignalQualityError("no stance"), 3, "no stance"),
        (PermissionError(13, "Permission denied", "results"), 1, "results: Permission denied"),
        (OSError("disk full"), 1, "disk full"),
    ],
)
def test_every_expected_error_is_one_line(pipeline, command, tmp_path, error, status, said):
    pipeline.analyse_session = raising(error)
    got = command("analyse", "demo", "--out", tmp_path / "results", "--quiet")
    assert got == (status, "", f"imustride: {said}\n")


def test_debug_shows_the_traceback(pipeline, command, tmp_path):
    pipeline.analyse_session = raising(OSError("disk full"))
    status, _, err = command("analyse", "demo", "--out", tmp_path / "results", "--debug")
    assert status == 1
    assert "Traceback" in err
    assert err.endswith("imustride: disk full\n")


def test_a_folder_of_other_things_is_refused_before_any_work(pipeline, command, tmp_path):
    pipeline.analyse_session = raising(AssertionError("analysed"))
    (tmp_path / "thesis.txt").write_text("mine", encoding="utf-8")
    status, _, err = command("analyse", "demo", "--out", tmp_path)
    assert status == 2
    assert "thesis.txt" in err


@pytest.mark.usefixtures("pipeline")
def test_control_characters_never_reach_the_terminal(command, tmp_path):
    _, out, err = command("analyse", "demo\x1b[31m", "--out", tmp_path / "results")
    assert "\x1b" not in out + err


def test_what_a_run_should_be_known_by_stands_below_the_table(pipeline, make_result, command, tmp_path):
    result = make_result()
    first = dataclasses.replace(result.runs[0], notes=("the gates lie elsewhere",))
    pipeline.analyse_session = lambda *_: dataclasses.replace(result, runs=(first, *result.runs[1:]))
    _, out, _ = command("analyse", "demo", "--out", tmp_path / "results")
    assert out.splitlines()[-3:-1] == [f"{first.name}: the gates lie elsewhere", ""]
    _, out, _ = command("analyse", "demo", "--out", tmp_path / "more", "--json")
    assert f"{first.name}: the gates lie elsewhere" in json.loads(out)["sessions"][0]["notes"]
