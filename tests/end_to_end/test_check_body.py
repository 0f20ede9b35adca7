"""`imustride check` on a session with sensors on the whole body: what is in order in few lines, faults by place."""

import json
import re
import shutil

import numpy as np
import pandas as pd
import pytest

from imustride.cli.boundary import run

ACCELERATION = ["ax", "ay", "az"]
LINES = 40  # of a screen


@pytest.fixture(scope="module")
def worn(tmp_path_factory):
    """Simulate a session of one run with all sensors, once; tests work on copies."""
    folder = tmp_path_factory.mktemp("worn") / "session"
    assert run(["simulate", "--body", "--out", str(folder), "--runs", "1", "--seed", "78", "--quiet"]) == 0
    return folder


@pytest.fixture
def body(worn, tmp_path):
    return shutil.copytree(worn, tmp_path / "body")


@pytest.fixture
def told(command, body):
    """Check the session; give the exit status and the lines of one check by place, as JSON holds them."""

    def call(check, *options):
        status, out, _ = command("check", body, "--json", *options)
        found = [line for line in json.loads(out)["lines"] if line["check"] == check]
        rank = ("not told", "pass", "warn", "fail")
        return status, {
            line["where"]: line for line in sorted(found, key=lambda line: rank.index(line["verdict"]))
        }

    return call


def exchange(folder, one, other):
    """Exchange the files of two places, as if the sensors had been: in the run and in the movements."""
    for part in ("run-1", "movements"):
        first, second, away = (folder / part / f"{name}.csv" for name in (one, other, "away"))
        first.rename(away)
        second.rename(first)
        away.rename(second)


def edit(folder, old, new):
    file = folder / "session.toml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), encoding="utf-8")


def without_movements(folder):
    file = folder / "session.toml"
    file.write_text(file.read_text(encoding="utf-8").split("[[movements]]")[0], encoding="utf-8")


def test_eleven_good_sensors_fill_no_more_than_a_screen(command, body):
    status, out, err = command("check", body)
    assert (status, err) == (0, "")
    assert len(out.splitlines()) < LINES
    assert "warn: calibration, all 11 sensors: calibrate it" in out
    assert "\nall 11 sensors: warn: calibration\n" in out
    assert re.search(r"standing and squats +5 of 9 sensors", out)
    assert "FAIL" not in out


def test_json_still_holds_a_line_a_sensor(told):
    status, rates = told("rate")
    assert (status, len(rates)) == (0, 11)
    _, standing = told("fitting_axes")
    assert len(standing) == 9
    assert {line["verdict"] for line in standing.values()} == {"pass"}
    assert 0 < standing["left_shank"]["value"] < 6
    assert {line["verdict"] for line in told("body_place")[1].values()} == {"pass"}
    joined = told("body_joined")[1]
    assert len(joined) == 9
    assert all(line["value"] < 10 for line in joined.values())


def test_one_sensor_that_differs_has_its_own_line(command, body):
    path = body / "run-1" / "trunk.csv"
    table = pd.read_csv(path).iloc[::6]
    table.to_csv(path, index=False)
    status, out, _ = command("check", body)
    assert status == 3
    (line,) = [line for line in out.splitlines() if line.startswith("FAIL") and "true rate" in line]
    assert "trunk" in line
    assert re.search(r"true rate +8 of 11 sensors", out)
    assert "\n10 of 11 sensors: warn: calibration\n" in out


def test_shank_and_thigh_exchanged_are_named(body, told):
    exchange(body, "left_shank", "left_thigh")
    status, place = told("body_place")
    assert status == 3
    assert {where for where, line in place.items() if line["verdict"] == "fail"} == {
        "left_shank",
        "left_thigh",
    }
    assert "tipped the other way" in place["left_shank"]["measured"]
    assert (
        "are shank and thigh exchanged? correct the places in session.toml" in place["left_shank"]["advice"]
    )


def test_left_and_right_shank_exchanged_are_named(body, told):
    exchange(body, "left_shank", "right_shank")
    status, place = told("body_place")
    assert status == 3
    assert {where for where, line in place.items() if line["verdict"] == "fail"} == {
        "left_shank",
        "right_shank",
    }
    assert place["left_shank"]["measured"] == "it moves with the right foot, not with the left one"


def test_a_wrong_place_is_no_reason_to_skate_again(body, command):
    exchange(body, "left_shank", "right_shank")
    status, out, _ = command("check", body, "--run", "run-1")
    assert status == 3
    assert "run-1: keep\ncorrect, then ask again:\n" in out


def test_a_sensor_declared_upside_down_is_named(body, told):
    table = pd.read_csv(body / "movements" / "pelvis.csv")
    up = table[ACCELERATION].iloc[100:400].mean().to_numpy()
    axis = int(np.abs(up).argmax())
    down = f"{'-' if up[axis] > 0 else '+'}{'xyz'[axis]}"
    # Right-handed: forward and left are the next two axes, turned with the sign of the third.
    forward, left = ("xyz"[(axis + k) % 3] for k in (1, 2))
    signs = ("+", "+") if down[0] == "+" else ("+", "-")
    edit(
        body,
        'place = "pelvis"\n',
        f'place = "pelvis"\naxes = ["{signs[0]}{forward}", "{signs[1]}{left}", "{down}"]\n',
    )
    status, standing = told("fitting_axes")
    assert status == 3
    assert standing["pelvis"]["verdict"] == "fail"
    assert "upside down" in standing["pelvis"]["measured"]


def test_without_movements_it_is_said_what_is_not_measured(body, command, told):
    without_movements(body)
    status, standing = told("fitting_axes")
    assert status == 0
    assert standing["left_shank"]["verdict"] == "not told"
    assert "not measured: angles of shank, knee and leg" in standing["left_shank"]["measured"]
    assert standing["pelvis"]["verdict"] == "pass"
    assert told("body_place")[1]["left_thigh"]["measured"].startswith("does not move with the right foot")
    assert "NOT FIT" not in command("check", body)[1]


def test_a_recording_without_squats_is_named(body, told):
    path = body / "movements" / "left_thigh.csv"
    table = pd.read_csv(path)
    table[table["time_s"] < table["time_s"].iloc[0] + 4].to_csv(path, index=False)
    status, standing = told("fitting_axes")
    assert status == 0
    assert standing["left_thigh"]["verdict"] == "warn"
    assert "no squat bends it" in standing["left_thigh"]["measured"]


def test_a_recording_in_which_nobody_stands_is_named(body, told):
    path = body / "movements" / "left_wrist.csv"
    table = pd.read_csv(path)
    rng = np.random.default_rng(1)
    table[["gx", "gy", "gz"]] += rng.normal(0, 80, (len(table), 3))
    table.to_csv(path, index=False)
    status, standing = told("fitting_axes")
    assert status == 3
    assert standing["left_wrist"]["verdict"] == "fail"
    assert "nobody stands quietly" in standing["left_wrist"]["measured"]


def test_before_anybody_skates_the_movements_alone_are_checked(body, command, told):
    shutil.rmtree(body / "run-1")
    status, out, _ = command("check", body)
    assert status == 0
    assert "not recorded yet: run-1" in out
    assert "shared shocks" not in out
    assert told("fitting_axes")[1]["right_shank"]["verdict"] == "pass"


def test_movements_that_are_not_there_yet_are_left_out(body, command, told):
    shutil.rmtree(body / "movements")
    status, out, _ = command("check", body)
    assert status == 0
    assert "not recorded yet: movement all" in out
    assert told("fitting_axes")[1]["left_shank"]["verdict"] == "not told"


def test_a_sensor_that_felt_no_shock_is_named_and_the_run_is_kept(body, command, told):
    path = body / "run-1" / "head.csv"
    table = pd.read_csv(path)
    smooth = table[ACCELERATION].rolling(75, center=True, min_periods=1).mean()
    table[ACCELERATION] = smooth
    table.to_csv(path, index=False)
    status, joined = told("body_joined")
    assert status == 0
    assert joined["head"]["verdict"] == "warn"
    assert "nothing of it is measured" in joined["head"]["measured"]
    assert joined["trunk"]["verdict"] == "pass"
    assert "\nrun-1: keep\n" in command("check", body, "--run", "run-1")[1]


def test_the_record_of_many_sensors_is_one_table_and_names_the_body_in_safety(body, command, tmp_path):
    page = tmp_path / "record.html"
    assert command("check", body, "--out", page)[0] == 0
    text = page.read_text(encoding="utf-8")
    assert "Straps wide and tight" in text[text.index("Safety first") : text.index("Every check")]
    table = text[text.index("<table>") : text.index("</table>")]
    assert table.count("<tr>") < LINES
    assert "all 11 sensors" in table
