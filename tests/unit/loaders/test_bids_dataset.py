"""Motion-BIDS datasets of other programs as sessions: by the standard's own fields, and what it has no field for."""

import datetime as dt
import json

import pytest

from imustride.errors import FileFormatError
from imustride.loaders import load, open_session, read_gates
from imustride.loaders.bids_dataset import dataset_root

DECLARATION = {"date": "2026-10-03", "surface": "ice"}
HEADER = "name\tcomponent\ttype\ttracked_point\tunits\n"


def channels(*points, latency=True):
    rows = [
        f"{point} {kind} {axis}\t{axis}\t{kind}\t{point}\t{unit}\n"
        for point in points
        for kind, unit in (("ACCEL", "g"), ("GYRO", "deg/s"))
        for axis in "xyz"
    ]
    return HEADER + "".join(rows) + ("time\tn/a\tLATENCY\tn/a\ts\n" if latency else "")


def write(folder, stem, points, sidecar, *, latency=True):
    folder.mkdir(parents=True, exist_ok=True)
    count = 6 * len(points) + latency
    (folder / f"{stem}_motion.tsv").write_text("".join("\t".join([str(i)] * count) + "\n" for i in range(5)))
    (folder / f"{stem}_channels.tsv").write_text(channels(*points, latency=latency))
    (folder / f"{stem}_motion.json").write_text(json.dumps(sidecar))


@pytest.fixture
def dataset(tmp_path):
    """One athlete, no sessions, one run of two skates, one tracking system each; facts for all at the top."""
    root = tmp_path / "lab"
    for side in ("left", "right"):
        stem = f"sub-A07_task-sprint_tracksys-{side}_run-1"
        sidecar = {"TaskName": "sprint", "SamplingFrequency": 200, "DeviceSerialNumber": f"S-{side}"}
        write(root / "sub-A07" / "motion", stem, [f"{side}-skate"], sidecar)
    (root / "dataset_description.json").write_text('{"Name": "lab", "BIDSVersion": "1.11.0"}')
    (root / "task-sprint_motion.json").write_text(json.dumps({"SessionDeclaration": DECLARATION}))
    return root


def refusal(path):
    with pytest.raises(FileFormatError) as caught:
        open_session(path)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_the_standards_own_fields(dataset):
    session = open_session(dataset)
    assert (session.athlete, session.protocol, session.date) == ("A07", "sprint", dt.date(2026, 10, 3))
    left, right = session.sensors
    assert (left.place, left.device, right.place, right.device) == (
        "left_skate",
        "S-left",
        "right_skate",
        "S-right",
    )
    assert left.columns.acceleration == tuple(f"left-skate ACCEL {axis}" for axis in "xyz")
    assert (left.units.time, left.units.acceleration, left.units.angular_velocity) == ("s", "g", "deg/s")
    (run,) = session.runs
    assert run.name == "sprint-1"
    assert run.files["left_skate"] == "sub-A07/motion/sub-A07_task-sprint_tracksys-left_run-1_motion.tsv"
    log = load(session, run, "right_skate")
    assert log.time_s.tolist() == [0, 1, 2, 3, 4]
    assert log.acceleration_m_s2[2].tolist() == [2 * 9.80665] * 3


def test_subject_or_session_may_be_named(dataset):
    assert open_session(dataset / "sub-A07").folder == dataset.resolve()
    assert dataset_root(dataset / "sub-A07" / "motion") == dataset
    assert dataset_root(dataset.parent) is None


def test_what_the_standard_has_no_field_for_is_asked_for(dataset):
    (dataset / "task-sprint_motion.json").unlink()
    said = refusal(dataset)
    assert "sub-A07_task-sprint_tracksys-left_run-1_motion.json, SessionDeclaration: 2 problems" in said
    assert "date: missing; add it" in said
    assert "surface: missing; add it" in said


def test_the_nearer_sidecar_wins(dataset):
    nearer = {"SessionDeclaration": {**DECLARATION, "surface": "synthetic"}}
    (dataset / "sub-A07" / "sub-A07_task-sprint_motion.json").write_text(json.dumps(nearer))
    (dataset / "sub-A07" / "sub-A07_task-other_motion.json").write_text('{"SessionDeclaration": {}}')
    assert open_session(dataset).surface == "synthetic"


def test_without_latency_the_rate_counts(dataset):
    for side in ("left", "right"):
        stem = f"sub-A07_task-sprint_tracksys-{side}_run-1"
        sidecar = {"TaskName": "sprint", "SamplingFrequency": 200}
        write(dataset / "sub-A07" / "motion", stem, [f"{side}_skate"], sidecar, latency=False)
    session = open_session(dataset)
    assert load(session, session.runs[0], "left_skate").time_s.tolist() == [0, 0.005, 0.01, 0.015, 0.02]


def test_several_places_in_one_tracking_system(dataset):
    folder = dataset / "sub-A07" / "motion"
    for path in folder.iterdir():
        path.unlink()
    write(folder, "sub-A07_task-sprint_tracksys-suit", ["pelvis", "head"], {"TaskName": "sprint"})
    session = open_session(dataset)
    assert [sensor.place for sensor in session.sensors] == ["pelvis", "head"]
    assert session.runs[0].name == "sprint-1"
    assert load(session, session.runs[0], "head").acceleration_m_s2.shape == (5, 3)


def test_two_days_are_listed(dataset):
    write(dataset / "sub-B9" / "ses-2" / "motion", "sub-B9_ses-2_task-x_tracksys-y", ["head"], {})
    assert "lab: several sessions: sub-A07, sub-B9/ses-2; name one of these folders" in refusal(dataset)
    assert open_session(dataset / "sub-A07").athlete == "A07"


def test_declaration_of_a_day_stands_beside_the_table_of_sessions(dataset):
    write(
        dataset / "sub-B9" / "ses-2" / "motion", "sub-B9_ses-2_task-x_tracksys-y", ["head"], {"TaskName": "x"}
    )
    assert "sub-B9/sub-B9_sessions.json, SessionDeclaration: " in refusal(dataset / "sub-B9")
    about = {"SessionDeclaration": {"ses-2": {**DECLARATION, "consent": "self"}}}
    (dataset / "sub-B9" / "sub-B9_sessions.json").write_text(json.dumps(about))
    assert open_session(dataset / "sub-B9").consent == "self"


@pytest.mark.parametrize(
    ("point", "said"),
    [
        ("LeftToe", "found tracked_point 'lefttoe'; wanted the place of each sensor"),
        ("pelvis", "two files for pelvis"),
    ],
)
def test_places_nobody_knows_or_twice(dataset, point, said):
    for side in ("left", "right"):
        stem = f"sub-A07_task-sprint_tracksys-{side}_run-1"
        write(dataset / "sub-A07" / "motion", stem, [point], {"TaskName": "sprint"})
    assert said in refusal(dataset)


def test_recordings_of_a_run_that_disagree(dataset):
    for side, start_s in (("left", 1.0), ("right", 2.0)):
        stem = f"sub-A07_task-sprint_tracksys-{side}_run-1"
        sidecar = {"TaskName": "sprint", "Runs": [{"name": "first", "start_s": start_s}]}
        write(dataset / "sub-A07" / "motion", stem, [f"{side}_skate"], sidecar)
    assert "run 'first' is in several recordings, and start_s of it differs" in refusal(dataset)


def with_movements(dataset, *told, **more):
    """Let the recording of each side hold movements too: what the left one says of them, what the right one."""
    for side, movements in zip(("left", "right"), told, strict=True):
        stem = f"sub-A07_task-sprint_tracksys-{side}_run-1"
        sidecar = {"TaskName": "sprint", "Movements": movements, **more}
        write(dataset / "sub-A07" / "motion", stem, [f"{side}_skate"], sidecar)


def test_movements_beside_runs_in_one_recording(dataset):
    again = {"number": 2, "kind": "all", "start_s": 150, "end_s": 171.5}
    first = {"number": 1, "kind": "all", "start_s": 3.5}
    with_movements(dataset, [again, first], [first], Runs=[{"name": "run-1", "start_s": 60.0}])
    session = open_session(dataset)
    assert [(one.kind, one.start_s, one.end_s) for one in session.movements] == [
        ("all", 3.5, None),
        ("all", 150.0, 171.5),
    ]
    assert [sorted(one.files) for one in session.movements] == [["left_skate", "right_skate"], ["left_skate"]]
    assert session.movements[0].files == session.runs[0].files


def test_a_recording_of_movements_alone_is_no_run(dataset):
    stem = "sub-A07_task-squats_tracksys-left_run-1"
    sidecar = {"TaskName": "squats", "Movements": [{"kind": "squats"}]}
    write(dataset / "sub-A07" / "motion", stem, ["left_skate"], sidecar)
    session = open_session(dataset)
    assert [run.name for run in session.runs] == ["sprint-1"]
    (moved,) = session.movements
    assert (moved.kind, moved.start_s, list(moved.files)) == ("squats", None, ["left_skate"])


def test_movements_as_once_exported_are_not_read_as_runs(dataset):
    stem = "sub-A07_task-squats_tracksys-left_run-1"
    write(dataset / "sub-A07" / "motion", stem, ["left_skate"], {"TaskName": "squats", "Movement": "squats"})
    assert refusal(dataset) == (
        f"motion/{stem}_motion.json: found `Movement`; wanted `Movements`, a list; export the dataset again"
    )


@pytest.mark.parametrize(
    ("left", "right", "said"),
    [
        ({"kind": "all", "start_s": 1.0}, {"kind": "all", "start_s": 2.0}, "start_s of it differs"),
        (
            {"kind": "all", "end_s": 9.0},
            {"kind": "all"},
            "movement 'all' is in several recordings, and end_s",
        ),
        (
            {"start_s": 1.0},
            {"start_s": 1.0},
            "Movements: found {'start_s': 1.0}; wanted the kind of a movement",
        ),
        ({"kind": "all", "number": "x"}, {"kind": "all"}, "and its number or none"),
    ],
)
def test_movements_that_cannot_be(dataset, left, right, said):
    with_movements(dataset, [left], [right])
    assert said in refusal(dataset)


@pytest.mark.parametrize(
    ("sidecar", "said"),
    [
        ("[]", "found a list; wanted a JSON object"),
        ("{", "found no JSON"),
        ("[" * 100_000, "found no JSON"),
        ('{"SessionDeclaration": 3}', "SessionDeclaration: found 3; wanted a dict"),
        ('{"Runs": {}}', "Runs: found {}; wanted a list"),
        ('{"Runs": [3]}', "Runs: found 3; wanted the name of a run"),
        ('{"SessionDeclaration": {"surface": "lake", "date": "someday"}}', "surface: found 'lake'"),
        (
            '{"SessionDeclaration": {"sensors": [{"place": []}, 3], "frobnicate": 1}}',
            "frobnicate: unknown key",
        ),
        ('{"SessionDeclaration": {"sensors": 3}}', "sensors: found 3; wanted a list"),
    ],
)
def test_sidecars_that_cannot_be(dataset, sidecar, said):
    (dataset / "sub-A07" / "sub-A07_motion.json").write_text(sidecar)
    assert said in refusal(dataset)


def test_results_are_no_recordings(dataset):
    (dataset / "dataset_description.json").write_text('{"Name": "x", "DatasetType": "derivative"}')
    assert "DatasetType is 'derivative'; wanted recordings" in refusal(dataset)


def test_no_recording(dataset):
    for path in (dataset / "sub-A07" / "motion").glob("*_motion.tsv"):
        path.unlink()
    assert "no recording (*_motion.tsv)" in refusal(dataset)


def test_an_axis_is_missing(dataset):
    path = next((dataset / "sub-A07" / "motion").glob("*left*_channels.tsv"))
    path.write_text(path.read_text().replace("\tx\tGYRO", "\tn/a\tGYRO"))
    assert (
        "GYRO of one place: found components n/a in deg/s, y in deg/s, z in deg/s; wanted x, y, z"
        in refusal(dataset)
    )


def test_gates_are_rows_of_the_events(tmp_path):
    events = "onset\tduration\ttrial_type\tposition_m\ttime_s\n3.5\t0\tgate\t0.0\t0.0\n4\t0\tblade_on\tn/a\tn/a\nn/a\t0\tgate\t30.48\t4.9\n"
    (tmp_path / "a_events.tsv").write_text(events)
    position_m, time_s = read_gates(tmp_path / "a_events.tsv")
    assert (position_m.tolist(), time_s.tolist()) == ([0, 30.48], [0, 4.9])
