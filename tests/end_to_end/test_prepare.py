"""`imustride prepare`: from the day's list to sessions that can be analysed."""

import json
import os
import re
import shutil
from pathlib import Path

import pytest

from imustride.session import read_session

EVENING = Path(__file__).parents[2] / "recordings" / "evening"
HEADER = "date,time,athlete,consent,run,left_skate_device,left_skate_file,right_skate_device,right_skate_file,gate_30.48_m_time_s"
LINES = [
    "2026-10-03,18:05,A07,guardian,,S041,run-1/left_skate.csv,S042,run-1/right_skate.csv,4.944",
    "2026-10-03,18:15,A07,guardian,,S041,run-2/left_skate.csv,S042,run-2/right_skate.csv,",
]
KIT = """\
surface = "ice"
protocol = "sprint-100ft"
[columns]
time = "time_s"
acceleration = ["ax", "ay", "az"]
angular_velocity = ["gx", "gy", "gz"]
[units]
time = "s"
acceleration = "m/s^2"
angular_velocity = "deg/s"
[[devices]]
device = "S041"
[[devices]]
device = "S042"
"""


@pytest.fixture
def evening(tmp_path):
    """A list and a kit for the logs of the invented session."""
    folder = tmp_path / "evening"
    folder.mkdir()
    (folder / "list.csv").write_text("\n".join([HEADER, *LINES, ""]))
    (folder / "kit.toml").write_text(KIT)
    return folder


@pytest.fixture
def prepare(command, evening, session, tmp_path):
    def call(*more):
        return command("prepare", evening / "list.csv", "--logs", session, "--out", tmp_path / "out", *more)

    return call


def test_a_prepared_session_can_be_analysed(prepare, command, tmp_path):
    status, out, err = prepare()
    assert (status, "written to" in out) == (0, True), err
    folder = tmp_path / "out" / "2026-10-03-A07"
    found = read_session(folder)
    assert [run.name for run in found.runs] == ["run-1", "run-2"]
    assert (found.athlete, found.consent, found.sensors[0].device) == ("A07", "guardian", "S041")
    status, out, err = command("analyse", folder, "--out", tmp_path / "results", "--json")
    assert status == 0, err
    runs = json.loads(out)["sessions"][0]["runs"]
    assert runs[0]["gate_time_s"] == 4.944
    assert runs[1]["gate_time_s"] is None
    assert all(run["pushes_left"] > 3 for run in runs)


def test_the_list_alternates_the_start_foot_and_the_sheet_is_beside_it(prepare, tmp_path):
    status, out, _ = prepare("--json")
    assert status == 0
    found = json.loads(out)
    assert [row["start_foot"] for row in found["list"]] == ["left", "right"]
    text = (tmp_path / "out" / "list.csv").read_text()
    assert text.splitlines()[1] == "2026-10-03,18:05,A07,run-1,left,2026-10-03-A07,S041,S042"
    sheet = (tmp_path / "out" / "sheet.html").read_text()
    assert sheet.index("Safety first") < sheet.index("<table>")
    assert "default-src 'none'" in sheet
    assert not re.search(r"<script|https?:|src=", sheet)


def test_logs_are_copied_and_linked_only_on_demand(prepare, session, tmp_path):
    source = session / "run-1" / "left_skate.csv"
    assert prepare()[0] == 0
    copied = tmp_path / "out" / "2026-10-03-A07" / "run-1" / "left_skate.csv"
    assert copied.read_bytes() == source.read_bytes()
    assert copied.stat().st_ino != source.stat().st_ino
    os.rename(tmp_path / "out", tmp_path / "away")  # noqa: PTH104 - a plain rename of a folder
    assert prepare("--link")[0] == 0
    assert copied.stat().st_ino == source.stat().st_ino


def test_the_same_list_again_changes_nothing_and_another_is_refused(prepare, evening, tmp_path):
    assert prepare()[0] == 0
    file = tmp_path / "out" / "2026-10-03-A07" / "session.toml"
    before = file.stat().st_mtime_ns
    status, out, _ = prepare()
    assert (status, "0 sessions, 1 there already" in out) == (0, True)
    assert file.stat().st_mtime_ns == before
    (evening / "list.csv").write_text("\n".join([HEADER, LINES[0].replace("4.944", "4.95"), ""]))
    status, out, err = prepare()
    assert status == 3
    assert "2026-10-03-A07: there already, with other contents" in err
    assert file.stat().st_mtime_ns == before


def test_another_athlete_is_added_to_an_evening(prepare, evening, session, tmp_path):
    assert prepare()[0] == 0
    more = LINES[0].replace("A07", "B10").replace("18:05", "18:25")
    (evening / "list.csv").write_text("\n".join([HEADER, *LINES, more, ""]))
    status, _, err = prepare()
    assert status == 3
    assert "the same file left_skate.csv for A07 run-1 (left_skate) and B10 run-1" in err
    assert not (tmp_path / "out" / "2026-10-03-B10").exists()
    shutil.copytree(session / "run-1", session / "run-3")
    (evening / "list.csv").write_text("\n".join([HEADER, *LINES, more.replace("run-1/", "run-3/"), ""]))
    status, out, err = prepare()
    assert (status, "1 session, 1 there already" in out) == (0, True), err
    assert len(read_session(tmp_path / "out" / "2026-10-03-B10").runs) == 1


def test_every_fault_is_named_at_once_and_nothing_is_written(prepare, evening, session, tmp_path):
    (session / "run-2" / "right_skate.csv").unlink()
    lines = [*LINES, "2026-10-03,18:05,B10,self,run-1,S041,run-9/left.csv,S042,../x.csv,4.9"]
    (evening / "list.csv").write_text("\n".join([HEADER, *lines, ""]))
    status, out, err = prepare("-q")
    assert (status, out) == (3, "")
    told = err.splitlines()
    assert len(told) == 5
    assert all(line.startswith("imustride: list.csv, line") for line in told)
    for said in (
        "device S041 is used twice at 18:05",
        "device S042 is used twice at 18:05",
        "line 3, right_skate: file 'run-2/right_skate.csv' is missing",
        "line 4, left_skate: file 'run-9/left.csv' is missing",
        "line 4, right_skate: file '../x.csv' lies outside the folder of logs",
    ):
        assert any(said in line for line in told), said
    assert not (tmp_path / "out").exists()


def test_a_dry_run_writes_nothing(prepare, tmp_path):
    status, out, _ = prepare("--dry-run")
    assert status == 0
    assert "nothing written (dry run); would be in" in out
    assert not (tmp_path / "out").exists()


def test_before_the_test_there_is_a_sheet_without_logs(command, tmp_path):
    out = tmp_path / "out"
    status, told, err = command("prepare", EVENING / "roster.csv", "--sheet-only", "--out", out)
    assert status == 0, err
    assert sorted(path.name for path in out.iterdir()) == ["list.csv", "sheet.html"]
    rows = (out / "list.csv").read_text().splitlines()
    assert len(rows) == 61
    assert len({row.split(",")[2] for row in rows[1:]}) == 20
    assert len({name for row in rows[1:] for name in row.split(",")[-2:]}) == 4
    assert "A07" in told


def test_without_logs_the_way_out_is_told(command, tmp_path):
    status, _, err = command("prepare", EVENING / "roster.csv", "--out", tmp_path / "out")
    assert status == 3
    assert len([line for line in err.splitlines() if "is missing in evening" in line]) == 120
    assert "--sheet-only" in err


def test_the_example_with_logs_works(command, tmp_path):
    status, _, err = command(
        "prepare", EVENING / "demo.csv", "--logs", EVENING.parent / "demo", "--out", tmp_path / "out"
    )
    assert status == 0, err
    assert read_session(tmp_path / "out" / "2026-10-03-Q48").conditions["start_behind_m"] == 0.75


def test_another_file_named_like_the_sheet_stays(prepare, tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "sheet.html").write_text("<p>mine</p>")
    status, _, err = prepare()
    assert status == 3
    assert "sheet.html: found another file" in err
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["sheet.html"]


def test_a_kit_that_lacks_what_a_session_needs_is_named(prepare, evening):
    (evening / "kit.toml").write_text(KIT.replace('acceleration = "m/s^2"\n', ""))
    status, _, err = prepare("-q")
    assert status == 3
    assert "units.acceleration: missing" in err
    assert "(from kit.toml)" in err
    (evening / "kit.toml").write_text(
        KIT.replace('device = "S041"\n', 'device = "S041"\ncalibration = "gone.toml"\n')
    )
    status, _, err = prepare("-q")
    assert status == 3
    assert "gone.toml' of S041 is missing" in err


BODY = ("left_shank", "left_thigh", "head")
BODY_KIT = (
    KIT.replace("[columns]", 'logs = "{run}/{place}.csv"\n[columns]')
    + '[[places]]\nplace = "head"\n[[devices]]\ndevice = "S051"\n[[devices]]\ndevice = "S052"\n[[devices]]\ndevice = "S053"\n'
)


def test_a_session_with_sensors_on_the_body_is_prepared_and_its_squats_are_found(command, tmp_path):
    logs = tmp_path / "logs"
    assert command("simulate", "--body", "--runs", "1", "--seed", "79", "--out", logs, "-q")[0] == 0
    places = ("left_skate", "right_skate", *BODY)
    header = ",".join(["date,time,athlete,consent,run,height_m", *(f"{place}_device" for place in places)])
    devices = "S041,S042,S051,S052,S053"
    (tmp_path / "kit.toml").write_text(BODY_KIT)
    (tmp_path / "list.csv").write_text(
        f"{header}\n2026-10-03,18:00,A07,self,movements,1.71,{devices}\n2026-10-03,18:05,A07,self,run-1,,{devices}\n"
    )
    status, out, err = command(
        "prepare", tmp_path / "list.csv", "--logs", logs, "--out", tmp_path / "out", "--json"
    )
    assert status == 0, err
    (planned,) = json.loads(out)["sessions"]
    assert [entry["kind"] for entry in planned["movements"]] == ["all"]
    folder = tmp_path / "out" / "2026-10-03-A07"
    found = read_session(folder)
    assert (found.body.height_m, len(found.runs), len(found.sensors)) == (1.71, 1, 5)
    sheet = (tmp_path / "out" / "sheet.html").read_text()
    assert "Two slow squats" in sheet
    assert "18:00 <span" in sheet
    status, out, err = command("check", folder, "--json")
    assert status == 0, err
    standing = {line["where"]: line for line in json.loads(out)["lines"] if line["check"] == "fitting_axes"}
    assert set(standing) == set(BODY)
    assert all(line["verdict"] == "pass" for line in standing.values())
    assert "movement" in standing["left_shank"]["measured"]


def test_a_sheet_without_sensors_on_the_body_is_silent_about_movements(command, tmp_path):
    out = tmp_path / "out"
    assert command("prepare", EVENING / "roster.csv", "--sheet-only", "--out", out)[0] == 0
    assert "squats" not in (out / "sheet.html").read_text()


def test_the_calibration_is_found_from_the_session_folder(prepare, evening, tmp_path):
    folder = evening / "calibration" / "S041"
    folder.mkdir(parents=True)
    (folder / "2026-09-20.toml").write_text("")
    (evening / "kit.toml").write_text('calibrations = "calibration"\n' + KIT)
    assert prepare("-q")[0] == 0
    found = read_session(tmp_path / "out" / "2026-10-03-A07")
    assert found.calibration_path(found.sensors[0]).resolve() == (folder / "2026-09-20.toml").resolve()
    assert found.sensors[1].calibration is None
