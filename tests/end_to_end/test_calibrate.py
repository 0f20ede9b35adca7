"""`imustride calibrate` from a recording to a file that an analysis uses; and recordings that are refused."""

import json
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from imustride.calibration import read_calibration
from tests.generators import table
from tests.generators.table import Conditions

ROOT = Path(__file__).parents[2]
UNITS = ("--time-unit", "s", "--acceleration-unit", "m/s^2", "--angular-velocity-unit", "rad/s")
COUNTS = ("--time-unit", "s", "--acceleration-unit", "counts", "--angular-velocity-unit", "counts")
GRAVITY = ("--gravity", str(table.G))
DATED = ("--date", "2026-10-03")
COLUMNS = """\
[columns]
time = "time"
acceleration = ["ax", "ay", "az"]
angular_velocity = ["gx", "gy", "gz"]

[units]
time = "s"
acceleration = "m/s^2"
angular_velocity = "rad/s"
"""


@pytest.fixture(scope="module")
def recorded():
    rng = np.random.default_rng(21)
    device = table.draw_device(rng)
    return table.record(rng, device, table.hand_set(rng))


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """An empty folder to work in; gives a writer of recordings."""
    monkeypatch.chdir(tmp_path)

    def write(recording, name="table.csv"):
        table.write_csv(tmp_path / name, recording)
        return name

    return write


def test_positions_make_a_file(command, bench, recorded, tmp_path):
    file = bench(recorded.recording)
    status, out, _ = command("calibrate", "positions", file, "--device", "S042", *UNITS, *GRAVITY, *DATED)
    assert status == 0
    path = tmp_path / "calibration/S042/2026-10-03.toml"
    assert "written: calibration/S042/2026-10-03.toml" in out.replace("\\", "/")
    assert "12 positions in 12 directions" in out
    assert "the first of this device" in out
    found = read_calibration(path)
    assert found.gravity_m_s2 == table.G
    np.testing.assert_allclose(found.accelerometer.bias, recorded.device.bias, atol=0.02)
    np.testing.assert_allclose(found.accelerometer.matrix, recorded.device.matrix, atol=1e-3)
    np.testing.assert_allclose(found.gyroscope.matrix, recorded.device.rate_matrix, atol=1e-2)
    assert found.residuals["accelerometer_m_s2"] < 0.01


def test_columns_and_units_from_a_file(command, bench, recorded, tmp_path):
    (tmp_path / "columns.toml").write_text("latitude_deg = 60\n" + COLUMNS, encoding="utf-8")
    file = bench(recorded.recording)
    status, out, err = command(
        "calibrate", "positions", file, "--device", "S042", "--columns", "columns.toml", *DATED, "--json"
    )
    told = json.loads(out)
    assert status == 0
    assert told["gravity_m_s2"] == pytest.approx(
        9.819177, abs=1e-6
    )  # WGS-84 at 60 degrees, by ahrs.utils.WGS
    assert told["written"] is True
    assert told["coverage"]["directions"] == 12
    assert {row["used"] for row in told["positions"]} == {True}
    assert "columns by their names" not in err


def test_counts(command, bench, tmp_path):
    rng = np.random.default_rng(22)
    device = table.draw_device(rng, counts=True)
    file = bench(table.record(rng, device, table.hand_set(rng)).recording)
    assert command("calibrate", "positions", file, "--device", "C7", *COUNTS, *GRAVITY, *DATED)[0] == 0
    found = read_calibration(tmp_path / "calibration/C7/2026-10-03.toml")
    assert found.accelerometer.from_counts
    assert found.gyroscope.from_counts
    np.testing.assert_allclose(found.accelerometer.bias, device.bias, atol=4)
    np.testing.assert_allclose(found.accelerometer.matrix @ device.response, np.eye(3), atol=1e-3)
    np.testing.assert_allclose(found.gyroscope.matrix @ device.rate_response, np.eye(3), atol=1e-2)


def test_turns_are_added_to_the_positions_of_the_day(command, bench, recorded, tmp_path):
    still = replace(recorded.recording, angular_velocity_rad_s=0 * recorded.recording.angular_velocity_rad_s)
    file = bench(still)
    assert command("calibrate", "positions", file, "--device", "S042", *UNITS, *GRAVITY, *DATED)[0] == 0
    disc = bench(table.turntable(np.random.default_rng(1), recorded.device, 33.333), "disc.csv")
    status, out, _ = command(
        "calibrate", "turns", disc, "--rpm", "33.333", "--device", "S042", *UNITS, *DATED
    )
    assert status == 0
    assert "the accelerometer of the file was kept" in out
    found = read_calibration(tmp_path / "calibration/S042/2026-10-03.toml")
    assert found.gravity_m_s2 == table.G
    np.testing.assert_allclose(found.gyroscope.matrix, recorded.device.rate_matrix, atol=1e-3)


def test_nothing_is_written_over_silently(command, bench, recorded, tmp_path):
    file = bench(recorded.recording)
    call = ("calibrate", "positions", file, "--device", "S042", *UNITS, *GRAVITY, *DATED)
    assert command(*call)[0] == 0
    path = tmp_path / "calibration/S042/2026-10-03.toml"
    before = path.stat().st_mtime_ns
    status, _, err = command(*call)
    assert status == 2
    assert "give --replace to replace it, or another --date" in err
    assert path.stat().st_mtime_ns == before
    assert command(*call, "--replace")[0] == 0


def test_a_dry_run_and_no_device_write_nothing(command, bench, recorded, tmp_path):
    file = bench(recorded.recording)
    status, out, _ = command("calibrate", "positions", file, "--device", "S042", *UNITS, *DATED, "--dry-run")
    assert (status, "nothing written (dry run)" in out) == (0, True)
    status, out, _ = command("calibrate", "positions", file, *UNITS)
    assert (status, "nothing written: give --device" in out) == (0, True)
    assert not (tmp_path / "calibration").exists()
    assert command("calibrate", "positions", file, *UNITS, *GRAVITY, "--quiet") == (0, "", "")


def test_gravity_nobody_gave_is_told(command, bench, recorded):
    assert "give --latitude" in command("calibrate", "positions", bench(recorded.recording), *UNITS)[2]


def test_times_may_be_named(command, bench, recorded, tmp_path):
    file = bench(recorded.recording)
    spans = [(from_s + 0.5, to_s - 0.5) for from_s, to_s in recorded.held_s]
    (tmp_path / "times.csv").write_text(
        "start_s,end_s\n" + "".join(f"{a:.3f},{b:.3f}\n" for a, b in spans), encoding="utf-8"
    )
    inline = ",".join(f"{a:.3f}-{b:.3f}" for a, b in spans)
    told = [
        json.loads(command("calibrate", "positions", file, *UNITS, "--times", times, "--json")[1])
        for times in ("times.csv", inline)
    ]
    assert told[0]["accelerometer"] == told[1]["accelerometer"]
    assert told[0]["positions"][0]["start_s"] == pytest.approx(spans[0][0], abs=0.003)
    status, _, err = command("calibrate", "positions", file, *UNITS, "--times", "3-1")
    assert (status, "--times: found '3-1'" in err) == (2, True)


def test_the_history_of_a_device(command, bench, recorded):
    file = bench(recorded.recording)
    call = ("calibrate", "positions", "--device", "S042", *UNITS, *GRAVITY)
    assert command(*call, file, "--date", "2026-09-03")[0] == 0
    assert command(*call, file, "--date", "2026-10-03")[0] == 0
    drifted = replace(
        recorded.recording, acceleration_m_s2=recorded.recording.acceleration_m_s2 + np.array([0.12, 0, 0])
    )
    status, out, _ = command(*call, bench(drifted, "drifted.csv"), "--date", "2026-11-03")
    assert status == 0
    assert "changed beyond the limits" in out
    status, out, _ = command("calibrate", "history", "S042")
    assert status == 0
    assert [line.split()[-1] for line in out.splitlines()[2:5]] == ["first", "change", "changed"]
    told = json.loads(command("calibrate", "history", "S042", "--json")[1])
    assert [row["verdict"] for row in told["calibrations"]] == ["first", "no change", "changed"]
    assert told["calibrations"][2]["beyond"] == ["accelerometer_bias_m_s2"]
    status, _, err = command("calibrate", "history", "S099")
    assert (status, "no calibration of device 'S099'" in err) == (3, True)


def test_another_device_is_noticed(command, bench, recorded):
    rng = np.random.default_rng(23)
    other = table.draw_device(rng)
    theirs = bench(table.record(rng, other, table.hand_set(rng)).recording, "other.csv")
    ours = bench(recorded.recording)
    call = ("calibrate", "positions", *UNITS, *GRAVITY)
    assert command(*call, ours, "--device", "S042", "--date", "2026-09-03")[0] == 0
    assert command(*call, theirs, "--device", "S041", "--date", "2026-09-03")[0] == 0
    status, _, err = command(*call, theirs, "--device", "S042", *DATED)
    assert status == 3
    assert "these are the numbers of device 'S041', not those of 'S042'" in err
    assert command(*call, theirs, "--device", "S042", *DATED, "--anyway")[0] == 0


@pytest.mark.parametrize(
    ("device", "date"), [("S042", "2026-09-20"), ("S042", "2026-10-18"), ("C7", "2026-10-18")]
)
def test_the_examples_are_what_the_command_makes(command, tmp_path, device, date):
    bench = ROOT / "recordings/table"
    units = ("--acceleration-unit", "counts", "--angular-velocity-unit", "counts") if device == "C7" else ()
    status, _, _ = command(
        *(
            "calibrate",
            "positions",
            bench / f"{device}-{date}.csv",
            "--columns",
            bench / "columns.toml",
            *units,
        ),
        *("--device", device, "--date", date, "--folder", tmp_path, "--quiet"),
    )
    assert status == 0
    made, shipped = (
        read_calibration(folder / device / f"{date}.toml") for folder in (tmp_path, ROOT / "calibration")
    )
    for one, other in ((made.accelerometer, shipped.accelerometer), (made.gyroscope, shipped.gyroscope)):
        np.testing.assert_allclose(one.bias, other.bias, rtol=1e-6)
        np.testing.assert_allclose(one.matrix, other.matrix, rtol=1e-6, atol=1e-9)


def shaken(recording, size):
    noise = np.random.default_rng(1).normal(0, size, recording.acceleration_m_s2.shape)
    return replace(recording, acceleration_m_s2=recording.acceleration_m_s2 + noise)


def moved_table(made):
    turning = made.orientation.inv().apply([0, 0, 0.6])
    return replace(made.recording, angular_velocity_rad_s=made.recording.angular_velocity_rad_s + turning)


def saturated(recording):
    return replace(recording, acceleration_m_s2=np.minimum(recording.acceleration_m_s2, 9.4))


def five(_):
    rng = np.random.default_rng(24)
    return table.record(rng, table.draw_device(rng), table.hand_set(rng, table.FACES[:5])).recording


REFUSED = {
    "five directions": (five, UNITS, "wanted at least 6: no position with y down; hold the sensor still"),
    "no rest": (lambda made: shaken(made.recording, 1.5), UNITS, "never still: "),
    "a moving table": (moved_table, UNITS, "wanted rest; use a "),
    "a saturated axis": (
        lambda made: saturated(made.recording), UNITS, "is at the end of its range, 9.4, first at",
    ),
    "g for m/s^2": (
        lambda made: made.recording, ("--acceleration-unit", "g", *UNITS[:2], *UNITS[4:]), "this looks like m/s^2",
    ),
    "deg/s for rad/s": (
        lambda made: made.recording, (*UNITS[:4], "--angular-velocity-unit", "deg/s"), "this looks like rad/s",
    ),
    "no unit": (lambda made: made.recording, UNITS[:4], "units are never guessed; wanted --angular-velocity-unit"),
}  # fmt: skip


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_calibration_is_refused_in_one_line(command, bench, recorded, tmp_path, name):
    make, units, said = REFUSED[name]
    file = bench(make(recorded))
    status, out, err = command(
        "calibrate", "positions", file, "--device", "S042", *units, *GRAVITY, "--quiet"
    )
    assert (status, out) == (2 if name == "no unit" else 3, "")
    assert err.count("\n") == 1
    assert said in err
    assert "table.csv: " in err
    assert not (tmp_path / "calibration").exists()


def test_turns_that_are_none_are_refused(command, bench, recorded):
    lying = table.record(
        np.random.default_rng(3),
        recorded.device,
        table.hand_set(np.random.default_rng(3), table.FACES[:1]),
        Conditions(tremor_m_s2=0, tremor_rad=0, hold_s=20),
    )
    status, _, err = command("calibrate", "turns", bench(lying.recording), *UNITS, "--quiet")
    assert status == 3
    assert "no known turn about x; found turns about no axis; wanted one about each axis: rest" in err
    assert err.count("\n") == 1


def test_positions_stand_in_for_turns(command, bench, recorded):
    status, out, err = command("calibrate", "turns", bench(recorded.recording), *UNITS, "--json")
    assert status == 0
    assert "no known turns" in err
    matrix = np.array(json.loads(out)["gyroscope"]["matrix"])
    np.testing.assert_allclose(matrix, recorded.device.rate_matrix, atol=1e-2)


def test_an_analysis_refuses_a_calibration_that_is_not_the_devices(command, session, tmp_path):
    """Of another device, or with a matrix that cannot be inverted: by every command that would use it."""
    toml = session / "session.toml"
    text = toml.read_text(encoding="utf-8")
    device = text.split('device = "')[1].split('"')[0]
    good = tmp_path / "good.toml"
    good.write_text(
        f'device = "{device}"\ndate = 2026-09-20\nmethod = "m"\ngravity_m_s2 = 9.81\n[accelerometer]\n'
        "bias_m_s2 = [0, 0, 0]\nmatrix = [[1, 0, 0], [0, 1, 0], [0, 0, 1]]\n",
        encoding="utf-8",
    )
    for spoil, said in (
        (lambda made: made.replace(f'"{device}"', '"S999"'), "calibration of device 'S999'"),
        (lambda made: made.replace("[0, 1, 0]", "[1, 0, 0]"), "matrix: cannot be inverted"),
    ):
        spoiled = tmp_path / "spoiled.toml"
        spoiled.write_text(spoil(good.read_text(encoding="utf-8")), encoding="utf-8")
        lines = [line for line in text.splitlines() if not line.startswith("calibration")]
        at = lines.index(f'device = "{device}"')
        lines.insert(at + 1, f'calibration = "{spoiled.as_posix()}"')
        toml.write_text("\n".join(lines), encoding="utf-8")
        out = tmp_path / "results"
        status, _, err = command("analyse", session, "--out", out, "--quiet")
        assert (status, said in err) == (3, True)
        shutil.rmtree(out)
        status, shown, err = command("inspect", session)
        assert (status, said in shown + err) == (3, True)
        status, shown, err = command("check", session)
        assert (status, said in shown + err) == (3, True)


@pytest.mark.usefixtures("bench")
@pytest.mark.parametrize("what", ["positions", "turns", "noise"])
def test_a_file_that_is_not_there_cannot_be_read(command, what, tmp_path):
    status, _, err = command("calibrate", what, "none.csv", "--device", "S042", *UNITS)
    assert status == 3
    assert "none.csv: no such file; wanted a recording" in err
    assert list(tmp_path.iterdir()) == []
