import pytest

from imustride.preparing.plan import plan_day

A = "2026-10-03,18:05,A07,guardian,run-1,S041,S042,"
A2 = "2026-10-03,18:15,A07,,run-2,S041,S042,"
B = "2026-10-03,18:25,B10,self,run-1,S041,S042,"


def problems(roster, kit, *lines, logs=None, **options):
    found = plan_day(roster(*lines, **options), kit, logs).problems
    assert all("\n" not in problem and "list.csv, line" in problem for problem in found)
    return found


@pytest.fixture
def logs(tmp_path):
    """A folder with the logs that the kit's pattern names for the lines above."""
    folder = tmp_path / "logs"
    folder.mkdir()
    for code, run in (("A07", "run-1"), ("A07", "run-2"), ("B10", "run-1")):
        for device in ("S041", "S042"):
            (folder / f"{code}_{run}_{device}.csv").write_text("t,ax\n1,2\n")
    return folder


def test_an_athlete_is_a_session_and_a_line_is_a_run(roster, kit, logs):
    plan = plan_day(roster(A, A2, B), kit, logs)
    assert plan.problems == ()
    assert [session.name for session in plan.sessions] == ["2026-10-03-A07", "2026-10-03-B10"]
    first = plan.sessions[0].runs[0]
    assert first.logs["left_skate"].source == logs / "A07_run-1_S041.csv"
    assert first.logs["left_skate"].target == "run-1/left_skate.csv"
    assert plan.sessions[0].runs[1].row.consent == "guardian"


def test_the_start_foot_alternates_for_an_athlete_and_from_one_to_the_next(roster, kit):
    plan = plan_day(roster(A, A2, A2.replace("18:15", "18:20").replace("run-2", "run-3"), B), kit, None)
    assert [row.start_foot for row in plan.rows] == ["left", "right", "left", "right"]


def test_a_named_start_foot_stays_and_the_next_run_takes_the_other(roster, kit):
    header = "date,time,athlete,start_foot,left_skate_device"
    lines = [
        f"2026-10-03,18:{minute:02d},A07,{foot},S041"
        for minute, foot in ((1, "right"), (5, ""), (9, "left"), (13, ""))
    ]
    plan = plan_day(roster(*lines, header=header), kit, None)
    assert [row.start_foot for row in plan.rows] == ["right", "left", "left", "right"]


def test_runs_without_a_name_are_numbered_in_order_of_time(roster, kit):
    lines = [line.replace("run-1", "").replace("run-2", "") for line in (A2, A, B)]
    plan = plan_day(roster(*lines), kit, None)
    assert [(row.athlete, row.run) for row in plan.rows] == [
        ("A07", "run-1"),
        ("A07", "run-2"),
        ("B10", "run-1"),
    ]


def test_another_sensor_on_the_same_skate_is_another_session(roster, kit):
    plan = plan_day(roster(A, A2.replace("S042", "S044")), kit, None)
    assert [session.name for session in plan.sessions] == ["2026-10-03-A07", "2026-10-03-A07-2"]


def test_a_run_that_lacks_a_sensor_stays_with_the_others(roster, kit, logs):
    header = "date,time,athlete,run,left_skate_device,right_skate_device,right_skate_file"
    lines = ("2026-10-03,18:05,A07,run-1,S041,S042,", "2026-10-03,18:15,A07,run-2,S041,S042,-")
    plan = plan_day(roster(*lines, header=header), kit, logs)
    assert plan.problems == ()
    assert [list(run.logs) for run in plan.sessions[0].runs] == [
        ["left_skate", "right_skate"],
        ["left_skate"],
    ]


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ((A, A.replace("18:05", "18:30")), "lines 2 and 3: run-1 of A07 is there twice"),
        ((A, A2.replace("A07", "a07")), "codes A07 and a07 differ by case only"),
        ((A, A2.replace("A07,,", "A07,self,")), "code A07 has consent by guardian and self"),
        ((A, B.replace("18:25", "18:05")), "device S041 is used twice at 18:05 (A07 run-1, B10 run-1)"),
        ((A, A2.replace("18:15", "18:05")), "athlete A07 is used twice at 18:05"),
        ((A.replace("S042", "S041"),), "line 2: device S041 at left_skate and right_skate"),
        ((A.replace("S042", "S099"),), "line 2: device S099 is not in kit.toml"),
    ],
)
def test_doubles_are_named_with_their_lines(roster, kit, lines, said):
    found = plan_day(roster(*lines), kit, None).problems
    if "S099" in said:
        found = tuple(p for p in problems(roster, kit, *lines, logs=kit.folder) if "kit.toml" in p)
    assert any(said in problem for problem in found)


def test_a_run_uses_its_sensors_until_its_end_time(roster, kit):
    header = "date,time,end_time,athlete,left_skate_device"
    lines = ("2026-10-03,18:05,18:11,A07,S041", "2026-10-03,18:10,18:15,B10,S041")
    assert "S041 is used twice at 18:10" in problems(roster, kit, *lines, header=header)[0]


def test_a_hurried_change_is_remarked_on(roster, kit):
    notes = plan_day(roster(A, B.replace("18:25", "18:08")), kit, None).notes
    assert any("S041 goes from A07 to B10 in 2 min" in note for note in notes)


def test_between_runs_of_one_athlete_nothing_is_changed_over(roster, kit):
    assert plan_day(roster(A, A2.replace("18:15", "18:09")), kit, None).notes == ()


def test_sensors_free_at_the_minute_are_not_used_twice(roster, kit):
    header = "date,time,end_time,athlete,consent,left_skate_device"
    lines = ("2026-10-03,18:05,18:10,A07,self,S041", "2026-10-03,18:10,18:15,B10,self,S041")
    assert problems(roster, kit, *lines, header=header) == ()


def test_other_conditions_are_another_session(roster, kit):
    header = "date,time,athlete,consent,run,left_skate_device,condition_ice"
    lines = [
        f"2026-10-03,18:{minute:02d},A07,self,run-{k},S041,{ice}"
        for k, (minute, ice) in enumerate(((5, "hard"), (15, "soft"), (25, "hard")), 1)
    ]
    plan = plan_day(roster(*lines, header=header), kit, None)
    assert [(session.name, [run.row.run for run in session.runs]) for session in plan.sessions] == [
        ("2026-10-03-A07", ["run-1", "run-3"]),
        ("2026-10-03-A07-2", ["run-2"]),
    ]


def test_missing_consent_is_remarked_on(roster, kit):
    assert any("no consent on record for A07" in note for note in plan_day(roster(A2), kit, None).notes)


def test_missing_and_empty_files_are_all_named(roster, kit, logs):
    (logs / "A07_run-1_S041.csv").unlink()
    (logs / "B10_run-1_S042.csv").write_text("")
    found = problems(roster, kit, A, A2, B, logs=logs)
    assert len(found) == 2
    assert "line 2, left_skate: file 'A07_run-1_S041.csv' is missing in logs" in found[0]
    assert "line 4, right_skate: file 'B10_run-1_S042.csv' is empty" in found[1]


FILE_HEADER = "date,time,athlete,left_skate_device,left_skate_file"


@pytest.mark.parametrize(
    "path", ["../secret.csv", "/etc/passwd", "C:\\x.csv", "link.csv", "a/../../secret.csv"]
)
def test_no_file_leads_out_of_the_folder_of_logs(roster, kit, logs, tmp_path, path):
    (tmp_path / "secret.csv").write_text("t\n1\n")
    (logs / "link.csv").symlink_to(tmp_path / "secret.csv")
    found = problems(roster, kit, f"2026-10-03,18:05,A07,S041,{path}", header=FILE_HEADER, logs=logs)
    assert "lies outside the folder of logs" in found[0]


def test_one_file_for_two_runs_needs_cuts_that_part_it(roster, kit, logs):
    header = f"{FILE_HEADER},start_s,end_s"
    lines = (
        "2026-10-03,18:05,A07,S041,A07_run-1_S041.csv,{},{}",
        "2026-10-03,18:25,B10,S041,A07_run-1_S041.csv,{},{}",
    )
    whole = [line.format("", "") for line in lines]
    found = problems(roster, kit, *whole, header=header, logs=logs)
    assert (
        "lines 2 and 3: the same file A07_run-1_S041.csv for A07 run-1 (left_skate) and B10 run-1" in found[0]
    )
    overlapping = [lines[0].format(0, 60), lines[1].format(50, 90)]
    assert problems(roster, kit, *overlapping, header=header, logs=logs)
    parted = [lines[0].format(0, 60), lines[1].format(60, 90)]
    assert problems(roster, kit, *parted, header=header, logs=logs) == ()


def test_one_file_for_two_sensors_of_a_run_is_refused_and_two_groups_are_not(roster, kit, logs):
    (logs / "both.h5").write_bytes(b"x")
    header = "date,time,athlete,left_skate_device,left_skate_file,right_skate_device,right_skate_file"
    line = "2026-10-03,18:05,A07,S041,both.h5{},S042,both.h5{}"
    assert "the same file both.h5" in problems(roster, kit, line.format("", ""), header=header, logs=logs)[0]
    plan = plan_day(roster(line.format("#/l", "#/r"), header=header), kit, logs)
    assert plan.problems == ()
    logs_of = plan.sessions[0].runs[0].logs
    assert {log.target for log in logs_of.values()} == {"logs/both.h5"}
    assert [log.group for log in logs_of.values()] == ["/l", "/r"]
