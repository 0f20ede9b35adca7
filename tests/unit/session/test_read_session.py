import datetime as dt
import shutil
from pathlib import Path

import pytest

from imustride.errors import FileFormatError
from imustride.session import read_session

# The example of the contract, word for word in its keys and values.
CONTRACT = """\
athlete  = "A07"
date     = 2026-10-03
surface  = "ice"
protocol = "sprint-100ft"
consent  = "guardian"
latitude_deg = 60.0

[conditions]
start_behind_m = 0.5
stick = false
blade = "new"

[columns]
time = "time_s"
acceleration = ["ax", "ay", "az"]
angular_velocity = ["gx", "gy", "gz"]

[units]
time = "s"
acceleration = "m/s^2"
angular_velocity = "deg/s"

[[sensors]]
place = "left_skate"
device = "S041"
axes = ["+x", "+y", "+z"]
position_m = [0.00, 0.04, 0.10]
mount = "holder"
acceleration_range_g = 16
angular_velocity_range_deg_s = 2000
bandwidth_hz = 200
delay_ms = 1.5
calibration = "../../calibration/S041/2026-09-20.toml"

[[sensors]]
place = "right_skate"
rate_hz = 500
delimiter = ";"
decimal = ","
[sensors.columns]
acceleration = "acc"
[sensors.units]
acceleration = "g"

[[runs]]
name  = "run-1"
files = { left_skate = "run-1/left_skate.csv", right_skate = "run-1/log.h5#/right" }
gates = "run-1/gates.csv"
start_s = 2.0
end_s = 12.5

[[movements]]
kind = "toe_raise"
files = { left_skate = "toe_raise.csv" }
start_s = 3.0
end_s = 30.0
"""


@pytest.fixture
def write(tmp_path):
    def _write(text: str) -> Path:
        folder = tmp_path / "session"
        folder.mkdir(exist_ok=True)
        (folder / "session.toml").write_text(text, encoding="utf-8")
        return folder

    return _write


def changed(old: str, new: str) -> str:
    assert CONTRACT.count(old) >= 1
    return CONTRACT.replace(old, new, 1)


def problems(folder: Path) -> list[str]:
    with pytest.raises(FileFormatError) as caught:
        read_session(folder)
    message = str(caught.value)
    assert "\n" not in message
    where, count, found = message.split(": ", 2)
    assert where == "session/session.toml"
    lines = found.split("; ")
    assert int(count.split()[0]) <= len(lines)
    return lines


def test_the_example_of_the_contract_is_read(write):
    session = read_session(write(CONTRACT))
    assert session.athlete == "A07"
    assert session.date == dt.date(2026, 10, 3)
    assert session.conditions == {"start_behind_m": 0.5, "stick": False, "blade": "new"}
    assert session.conditions["stick"] is False
    left = session.sensor("left_skate")
    assert left.axes == ("+x", "+y", "+z")
    assert left.position_m == (0.0, 0.04, 0.10)
    assert (left.acceleration_range_g, left.bandwidth_hz, left.delay_ms) == (16, 200, 1.5)
    assert session.runs[0].start_s == 2.0
    (moved,) = session.movements
    assert (moved.kind, moved.start_s, moved.end_s) == ("toe_raise", 3.0, 30.0)
    assert (session.clock_of(moved), session.clock_of(session.runs[0])) == ("left_skate", "left_skate")


def test_the_file_itself_may_be_named_instead_of_the_folder(write):
    folder = write(CONTRACT)
    assert read_session(folder / "session.toml").athlete == read_session(folder).athlete


def test_sensors_inherit_key_by_key(write):
    right = read_session(write(CONTRACT)).sensor("right_skate")
    assert right.units.model_dump() == {"time": "s", "acceleration": "g", "angular_velocity": "deg/s"}
    assert right.columns.acceleration == "acc"
    assert right.columns.angular_velocity == ("gx", "gy", "gz")
    assert (right.delimiter, right.decimal, right.encoding) == (";", ",", None)


def test_the_rocker_is_that_of_the_skate_or_else_of_the_session(write):
    session = read_session(write(CONTRACT))
    assert [sensor.rocker_radius_m for sensor in session.sensors] == [None, None]
    both = CONTRACT.replace('athlete  = "A07"', 'rocker_radius_m = 3.2\nathlete = "A07"')
    one = both.replace("bandwidth_hz = 200", "rocker_radius_m = 2.8")
    head = both.replace('place = "right_skate"', 'place = "head"').replace("right_skate = ", "head = ")
    for text, expected in ((both, [3.2, 3.2]), (one, [2.8, 3.2]), (head, [3.2, None])):
        assert [sensor.rocker_radius_m for sensor in read_session(write(text)).sensors] == expected


def test_a_sensors_own_rate_replaces_the_sessions_time_column(write):
    session = read_session(write(CONTRACT))
    assert session.sensor("right_skate").columns.time is None
    assert session.sensor("right_skate").rate_hz == 500
    assert session.sensor("left_skate").columns.time == "time_s"
    assert session.sensor("left_skate").rate_hz is None


def test_a_sensors_own_time_column_replaces_the_sessions_rate(write):
    text = (
        changed('time = "time_s"\n', "")
        .replace("rate_hz = 500\n", "")
        .replace("[conditions]", "rate_hz = 200\n[conditions]")
    )
    text = text.replace('acceleration = "acc"', 'acceleration = "acc"\ntime = "t"')
    session = read_session(write(text))
    assert (session.sensor("left_skate").rate_hz, session.sensor("left_skate").columns.time) == (200, None)
    assert (session.sensor("right_skate").rate_hz, session.sensor("right_skate").columns.time) == (None, "t")


def test_a_counter_of_samples_goes_with_a_rate_wherever_each_is_declared(write):
    text = changed('time = "s"', 'time = "samples"').replace("[conditions]", "rate_hz = 200\n[conditions]")
    left, right = (read_session(write(text)).sensor(f"{side}_skate") for side in ("left", "right"))
    assert (left.rate_hz, left.columns.time, right.rate_hz) == (200, "time_s", 500)
    assert any(
        line.startswith("sensors[0].rate_hz: missing")
        for line in problems(write(changed('time = "s"', 'time = "samples"')))
    )


def test_file_options_at_the_top_serve_every_sensor(write):
    text = changed("[conditions]", 'delimiter = "\\t"\nencoding = "cp1252"\n[conditions]')
    session = read_session(write(text))
    assert session.sensor("left_skate").delimiter == "\t"
    assert session.sensor("right_skate").delimiter == ";"
    assert session.sensor("right_skate").encoding == "cp1252"


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('athlete  = "A07"', 'athlete = "Jane Doe"', "athlete: found 'Jane Doe'"),
        ('athlete  = "A07"', 'athlete = "NUL"', "athlete: found 'NUL'"),
        ('athlete  = "A07"', f'athlete = "{"A" * 33}"', "athlete: found"),
        ('athlete  = "A07"', 'athlete = "A07\\n"', "athlete: found 'A07\\n'"),
        ('athlete  = "A07"\n', "", "athlete: missing"),
        ("2026-10-03", '"2026-10-03"', "date: found '2026-10-03'"),
        ('"ice"', '"grass"', "surface: found 'grass'"),
        ('"guardian"', '"coach"', "consent: found 'coach'"),
        ("latitude_deg = 60.0", "latitude_deg = 600", "latitude_deg: found 600"),
        ("latitude_deg = 60.0", "latitude_deg = nan", "latitude_deg: found nan"),
        ("stick = false", "stick = [1]", "conditions.stick: found (1,)"),
        ("[conditions]", "weather = 3\n[conditions]", "weather: unknown key"),
        ("[conditions]", 'folder = "/"\n[conditions]', "folder: unknown key"),
        ('time = "time_s"', 'times = "time_s"', "columns.times: unknown key"),
        ('["ax", "ay", "az"]', '["ax", "ay"]', "columns.acceleration: found ('ax', 'ay')"),
        ('["ax", "ay", "az"]', '["ax", "ay", "ax"]', "sensors[0].columns: 'ax' is used twice"),
        ('["gx", "gy", "gz"]', '["gx", "gy", "time_s"]', "sensors[0].columns: 'time_s' is used twice"),
        ('acceleration = "m/s^2"', 'acceleration = "m/s2"', "units.acceleration: found 'm/s2'"),
        ('angular_velocity = "deg/s"\n', "", "sensors[0].units.angular_velocity: missing"),
        ('time = "s"\n', "", "sensors[0].units.time: missing"),
        ('angular_velocity = "deg/s"', 'angular_velocity = "counts"', "sensors[1].calibration: missing"),
        ('place = "right_skate"', 'place = "left_foot"', "sensors[1].place: found 'left_foot'"),
        ('place = "right_skate"', 'place = "left_skate"', "sensors: place 'left_skate' is declared twice"),
        ('["+x", "+y", "+z"]', '["+x", "-y", "+z"]', "sensors[0].axes: found +x, -y, +z"),
        ('["+x", "+y", "+z"]', '["+x", "+x", "+z"]', "sensors[0].axes: found +x, +x, +z"),
        ('["+x", "+y", "+z"]', '["x", "+y", "+z"]', "sensors[0].axes[0]: found 'x'"),
        ("[0.00, 0.04, 0.10]", "[0, 40, 100]", "sensors[0].position_m[1]: found 40"),
        ('mount = "holder"', 'mount = "lace"', "sensors[0].mount: found 'lace'"),
        ("acceleration_range_g = 16", "acceleration_range_g = -16", "sensors[0].acceleration_range_g: found -16"),
        ("bandwidth_hz = 200", 'bandwidth_hz = "200"', "sensors[0].bandwidth_hz: found '200'"),
        ("bandwidth_hz = 200", "rocker_radius_m = 0.9", "sensors[0].rocker_radius_m: found 0.9"),
        ("bandwidth_hz = 200", "rocker_radius_m = 11", "sensors[0].rocker_radius_m: found 11"),
        ('place = "right_skate"', 'place = "head"\nrocker_radius_m = 3.0', "sensors[1].rocker_radius_m: found at head"),
        ("[columns]", "[columns]\nrocker_radius_m = 3.0", "columns.rocker_radius_m: unknown key"),
        ("2026-09-20.toml", "2026-09-20.txt", "sensors[0].calibration: found"),
        ('delimiter = ";"', 'delimiter = ";;"', "sensors[1].delimiter: found ';;'"),
        ('delimiter = ";"\n', "", "sensors[1].decimal: the comma is also the delimiter"),
        ('delimiter = ";"', 'encoding = "klingon"\ndelimiter = ";"', "sensors[1].encoding: found 'klingon'"),
        ('delimiter = ";"', 'encoding = "base64"\ndelimiter = ";"', "sensors[1].encoding: found 'base64'"),
        ('time = "s"', 'time = "date-time year-first"', "units.time: found 'date-time year-first'"),
        ("rate_hz = 500", "rate_hz = 0", "sensors[1].rate_hz: found 0"),
        ('acceleration = "acc"', 'acceleration = "acc"\ntime = "t"', "sensors[1].rate_hz: given beside columns.time"),
        ('name  = "run-1"', 'name = "../x"', "runs[0].name: found '../x'"),
        ('name  = "run-1"', 'name = "-run"', "runs[0].name: found '-run'"),
        ('name  = "run-1"', 'name = "aux.1"', "runs[0].name: found 'aux.1'"),
        ("end_s = 12.5", "end_s = 1.5", "runs[0].end_s: found 1.5, not after start_s 2.0"),
        ("end_s = 30.0", "end_s = 3", "movements[0].end_s: found 3, not after start_s 3.0"),
        ("right_skate = ", "head = ", "runs[0].files.head: no sensor is declared there"),
        ("toe_raise.csv", "../toe_raise.csv", "movements[0].files.left_skate: found '../toe_raise.csv'"),
    ],
)  # fmt: skip
def test_a_wrong_value_is_named_with_its_place(write, old, new, expected):
    assert any(line.startswith(expected) for line in problems(write(changed(old, new))))


@pytest.mark.parametrize(
    "path",
    [
        "/etc/hosts",
        "../left.csv",
        "run-1/../../left.csv",
        "C:\\\\left.csv",
        "..\\\\left.csv",
        "\\\\left.csv",
        "",
        "a\\u0000b",
    ],
)
@pytest.mark.parametrize("key", ["run-1/left_skate.csv", "run-1/log.h5#/right", "run-1/gates.csv"])
def test_a_path_out_of_the_session_folder_is_refused(write, path, key):
    group = "#/right" if "#" in key else ""
    found = problems(write(changed(f'"{key}"', f'"{path}{group}"')))
    assert any("wanted a path inside the session folder" in line for line in found)


def test_a_link_out_of_the_session_folder_is_refused(write, tmp_path):
    folder = write(CONTRACT)
    (tmp_path / "elsewhere").mkdir()
    (folder / "run-1").symlink_to(tmp_path / "elsewhere")
    assert any("a link that leads out" in line for line in problems(folder))


def test_a_link_made_after_the_session_was_read_is_refused_too(write, tmp_path):
    folder = write(CONTRACT)
    session = read_session(folder)
    (folder / "run-1").symlink_to(tmp_path)
    with pytest.raises(FileFormatError, match="outside the session folder"):
        session.path("run-1/left_skate.csv")


def test_a_calibration_may_lie_outside(write, tmp_path):
    session = read_session(write(CONTRACT))
    path = session.calibration_path(session.sensor("left_skate"))
    assert path.resolve() == tmp_path.parent / "calibration/S041/2026-09-20.toml"
    absolute = changed("../../calibration/S041/2026-09-20.toml", "/bench/S041.toml")
    session = read_session(write(absolute))
    assert session.calibration_path(session.sensor("left_skate")) == Path("/bench/S041.toml")
    assert session.calibration_path(session.sensor("right_skate")) is None


def test_run_names_differ_by_more_than_case(write):
    text = CONTRACT.replace(
        "[[movements]]", '[[runs]]\nname = "RUN-1"\nfiles = { left_skate = "b.csv" }\n[[movements]]'
    )
    assert any(line.startswith("runs: the name 'run-1' is used twice") for line in problems(write(text)))


def test_a_session_needs_sensors_and_runs(write):
    top = CONTRACT.split("[conditions]", maxsplit=1)[0]
    assert {"sensors: missing", "runs: missing"} <= set(problems(write(top)))
    found = problems(write(f"{top}sensors = []\nruns = []\n"))
    assert any(line.startswith("sensors: empty") for line in found)
    assert any(line.startswith("runs: empty") for line in found)


def test_every_problem_of_the_file_is_reported_at_once(write):
    text = (
        CONTRACT.replace('"A07"', '"Jane Doe"')  # a rule beyond types
        .replace("2026-10-03", '"3 October"')  # a type
        .replace("surface ", "surfaces ")  # unknown, and one missing
        .replace('time = "s"\n', "")  # missing after inheritance
        .replace('"+x", "+y"', '"+x", "-y"')
        .replace("run-1/gates.csv", "/gates.csv")
    )
    found = problems(write(text))
    for start in (
        "athlete: found", "date: found", "surface: missing", "surfaces: unknown key", "sensors[0].units.time: missing",
        "sensors[0].axes: found", "runs[0].gates: found",
    ):  # fmt: skip
        assert sum(line.startswith(start) for line in found) == 1


def test_a_missing_session_file_says_what_is_wanted(tmp_path):
    with pytest.raises(FileFormatError, match=r"session\.toml: no such file; wanted a session folder"):
        read_session(tmp_path / "nowhere")


def test_broken_toml_is_named_with_its_line(write):
    with pytest.raises(FileFormatError, match=r"not valid TOML: .*line 1"):
        read_session(write("athlete = A07\n"))


def test_a_session_file_in_another_encoding_is_refused(write):
    folder = write("")
    (folder / "session.toml").write_bytes(b'athlete = "\xe4"')
    with pytest.raises(FileFormatError, match="not UTF-8 text at byte 11"):
        read_session(folder)


def test_a_session_file_with_a_byte_order_mark_is_read(write):
    assert read_session(write("\ufeff" + CONTRACT)).athlete == "A07"


def test_a_huge_session_file_is_refused_unread(write):
    with pytest.raises(FileFormatError, match="wanted less than 1000000"):
        read_session(write("#" * 1_000_001))


def test_an_undeclared_place_has_no_sensor(write):
    session = read_session(write(CONTRACT))
    with pytest.raises(
        FileFormatError, match=r"no sensor is declared at pelvis; declared are left_skate, right_skate"
    ):
        session.sensor("pelvis")


def test_a_session_moved_elsewhere_still_reads(write, tmp_path):
    folder = write(CONTRACT)
    shutil.move(folder, tmp_path / "moved")
    assert read_session(tmp_path / "moved").folder == tmp_path / "moved"


def test_invisible_marks_in_a_place_stay_out_of_every_message(write):
    with pytest.raises(FileFormatError, match=r"declared: \?left_skate") as caught:
        read_session(write(changed('place = "left_skate"', 'place = "\ufeffleft_skate"')))
    assert str(caught.value).isprintable()
