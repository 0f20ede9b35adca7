"""Sensors on the body in the day's list: movements at the boards, lengths, what is noted where they are missing."""

import datetime as dt
import tomllib

import pytest

from imustride.preparing.plan import plan_day
from imustride.preparing.session_text import content, toml_text
from imustride.session import declared

HEADER = "date,time,athlete,consent,run,left_skate_device,right_skate_device,left_shank_device,head_device,height_m,left_thigh_m"
MOVED = "2026-10-03,18:00,A07,guardian,movements,S041,S042,S043,S044,1.71,0.42"
A = "2026-10-03,18:05,A07,,run-1,S041,S042,S043,S044,,"
A2 = "2026-10-03,18:15,A07,,run-2,S041,S042,S043,S044,,"


@pytest.fixture
def plan(roster, kit):
    def make(*lines, logs=None, header=HEADER, **how):
        return plan_day(roster(*lines, header=header), kit, logs, **how)

    return make


@pytest.fixture
def logs(tmp_path):
    folder = tmp_path / "logs"
    folder.mkdir()
    for run in ("movements", "run-1", "run-2"):
        for device in ("S041", "S042", "S043", "S044"):
            (folder / f"A07_{run}_{device}.csv").write_text("t,ax\n1,2\n")
    return folder


def test_a_line_of_movements_is_no_run(plan):
    found = plan(MOVED, A, A2)
    assert found.problems == ()
    (session,) = found.sessions
    assert [run.row.run for run in session.runs] == ["run-1", "run-2"]
    assert [entry.row.begin.time() for entry in session.movements] == [dt.time(18, 0)]
    assert [row.start_foot for row in found.rows] == [None, "left", "right"]
    assert found.session_of(found.rows[0]) == "2026-10-03-A07"


def test_the_session_names_its_movements_places_and_lengths(plan, kit, logs, tmp_path):
    found = plan(MOVED, A, A2, logs=logs)
    assert found.problems == ()
    text = toml_text(content(found.sessions[0], kit, tmp_path / "out" / "2026-10-03-A07"))
    session = declared(tomllib.loads(text), tmp_path, "session.toml")
    assert [sensor.place for sensor in session.sensors] == ["left_skate", "right_skate", "left_shank", "head"]
    (moved,) = session.movements
    assert moved.kind == "all"
    assert moved.files["left_shank"] == "movements/left_shank.csv"
    assert set(moved.files) == {"left_skate", "right_skate", "left_shank", "head"}
    assert (session.body.height_m, session.body.left_thigh_m) == (1.71, 0.42)
    assert session.body.right_thigh_m is None


def test_without_sensors_on_the_body_a_session_reads_as_before(plan, kit, tmp_path):
    header = "date,time,athlete,consent,run,left_skate_device"
    found = plan("2026-10-03,18:05,A07,self,run-1,S041", header=header)
    written = content(found.sessions[0], kit, tmp_path / "out" / "x")
    assert not {"movements", "body"} & set(written)
    assert found.notes == ()


def test_missing_movements_are_remarked_on_with_what_they_cost(plan):
    (note,) = plan(A.replace("A07,,", "A07,self,"), A2).notes
    assert note.startswith("2026-10-03-A07: sensors at left_shank, but no line with run 'movements'")
    header = "date,time,athlete,consent,run,left_skate_device,head_device"
    assert plan("2026-10-03,18:05,A07,self,run-1,S041,S044", header=header).notes == ()


def test_movements_serve_every_session_of_the_day_with_the_same_sensors(plan, logs):
    header = HEADER + ",condition_ice"
    lines = (f"{MOVED},", f"{A},hard", f"{A2},soft")
    found = plan(*lines, header=header, logs=logs)
    assert found.problems == ()
    assert [session.name for session in found.sessions] == ["2026-10-03-A07", "2026-10-03-A07-2"]
    assert all(len(session.movements) == 1 for session in found.sessions)


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (
            (MOVED.replace("S043", "S049"), A),
            "line 2: movements of A07, but no run of that day with the same sensors",
        ),
        ((MOVED.replace("2026-10-03", "2026-10-04"), A), "no run of that day"),
        ((MOVED, MOVED.replace("18:00", "18:02"), A), "lines 2 and 3: movements of A07 is there twice"),
        (
            (MOVED, A.replace("S044,,", "S044,1.72,")),
            "lines 2 and 3: code A07 has height_m 1.71 and 1.72; wanted one",
        ),
        ((MOVED.replace("1.71", "171"), A), "line 2, height_m: found '171'; wanted metres, 0.9 to 2.4"),
        ((MOVED.replace("0.42", "42"), A), "line 2, left_thigh_m: found '42'; wanted metres, 0.2 to 0.7"),
    ],
)
def test_what_is_wrong_with_movements_and_lengths_is_named(plan, lines, said):
    problems = plan(*lines).problems
    assert any(said in problem for problem in problems), problems


def test_movements_with_a_gate_are_refused(plan):
    header = HEADER + ",gate_30.48_m_time_s"
    (problem,) = plan(MOVED + ",4.9", A + ",", header=header).problems
    assert "line 2: gates for movements, which passes none; remove them" in problem


def test_movements_in_the_log_of_a_run_use_its_copy_and_say_where_they_lie(plan, kit, logs, tmp_path):
    places = ("left_skate", "right_skate", "left_shank", "head")
    header = f"{HEADER},start_s,end_s,{','.join(f'{place}_file' for place in places)}"
    files = [f"A07_run-1_S04{number}.csv" for number in (1, 2, 3, 4)]
    said = [f"{line},{cut},{','.join(files)}" for line, cut in ((MOVED, "10,30.5"), (A, "95,120"))]
    found = plan(*said, header=header, logs=logs)
    assert found.problems == ()
    session = declared(
        tomllib.loads(toml_text(content(found.sessions[0], kit, tmp_path / "out" / "x"))),
        tmp_path,
        "session.toml",
    )
    ((moved,), (run,)) = session.movements, session.runs
    assert (moved.start_s, moved.end_s, run.start_s) == (10.0, 30.5, 95.0)
    assert moved.files == run.files
    (session,) = found.sessions
    assert len({log.target for entry in session.recordings for log in entry.logs.values()}) == 4


def test_movements_and_a_run_in_one_log_without_a_part_each_are_refused(plan, logs):
    header = f"{HEADER},start_s,end_s,left_shank_file"
    shared = "A07_run-1_S043.csv"
    for cut in (",", "10,100"):
        found = plan(f"{MOVED},{cut},{shared}", f"{A},95,120,{shared}", header=header, logs=logs)
        (problem,) = found.problems
        assert "lines 2 and 3: the same file A07_run-1_S043.csv" in problem
        assert "start_s and end_s that part it" in problem


def test_cutting_tells_nothing_of_a_log_that_holds_movements_alone(plan, logs):
    header = f"{HEADER},start_s,end_s,left_shank_file"
    again = MOVED.replace("18:00", "18:02").replace("movements", "movements-2")
    for other, count in (("30,50", 1), ("40,60", 0)):
        lines = [f"{line},{cut},A07_movements_S043.csv" for line, cut in ((MOVED, "10,40"), (again, other))]
        runs = [f"{line},,,A07_run-1_S043.csv" for line in (A, A2)]  # the cut parts them
        problems = plan(*lines, *runs, header=header, logs=logs, cut=True).problems
        assert len([one for one in problems if "the same file" in one]) == count
        assert not any("--cut" in one for one in problems)


def test_a_log_of_movements_that_is_missing_is_named(plan, logs):
    (logs / "A07_movements_S043.csv").unlink()
    (problem,) = plan(MOVED, A, A2, logs=logs).problems
    assert "line 2, left_shank: file 'A07_movements_S043.csv' is missing in logs" in problem


def test_movements_recorded_again_have_a_name_of_their_own(plan):
    again = MOVED.replace("18:00", "18:20").replace("movements", "movements-2")
    (session,) = plan(MOVED, A, again).sessions
    assert [entry.row.run for entry in session.movements] == ["movements", "movements-2"]
