import dataclasses
import json

import h5py
import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from imustride.errors import FileFormatError
from imustride.inspection import inspect, render, unit_errors
from imustride.loaders import load, regularise
from imustride.session import Columns, Units, read_session
from tests.unit.inspection.conftest import RATE_HZ, G, turning

DEGREES = 180 / np.pi


def findings(report, level):
    return [finding.text for finding in report.findings if finding.level == level]


def test_a_sound_session_has_its_figures_and_no_remark(session):
    left, right = inspect(session('axes = ["+x", "+y", "+z"]'))
    assert (left.run, left.place, left.device, left.source) == (
        "run-1",
        "left_skate",
        "S041",
        "session/left.csv",
    )
    assert (left.rows, left.duration_s) == (12000, pytest.approx(29.9975))
    assert left.rate_hz == pytest.approx(RATE_HZ, rel=1e-6)
    assert left.jitter_sd_s < 1e-6
    assert (left.duplicates, left.missing_samples, left.nan_rows, left.bridged, left.clipped_samples) == (
        0,
    ) * 5
    assert left.gaps == ()
    assert left.rest.gravity == pytest.approx(G, abs=0.01)
    assert left.rest.duration_s == pytest.approx(10.0, abs=0.5)
    assert left.rest.acceleration_noise == pytest.approx(0.02, rel=0.03)
    assert left.rest.angular_velocity_noise == pytest.approx(0.002, rel=0.03)
    assert (left.rest.up, round(left.rest.tilt_deg)) == ("+z", 0)
    assert left.gyroscope_scale == pytest.approx(1.0, abs=0.01)
    assert left.peak_angular_velocity == pytest.approx(1.8, abs=0.02)
    assert left.bandwidth_hz is None
    assert left.findings == right.findings == ()


def test_the_report_is_plain_data_and_readable_text(session):
    reports = inspect(session())
    assert json.loads(json.dumps([dataclasses.asdict(report) for report in reports], allow_nan=False))
    text = render(reports)
    assert "run-1 left_skate (S041): session/left.csv" in text
    assert "12000 rows, 30.00 s at 400.000 Hz" in text
    assert "gravity 9.807 m/s^2, +z up" in text


@pytest.mark.parametrize(
    ("declared", "factors", "expected"),
    [
        (
            ('"s"', '"g"', '"rad/s"'),
            (1, 1),
            "declared as g, but gravity at rest is 9.807: this looks like m/s^2",
        ),
        (
            ('"s"', '"m/s^2"', '"rad/s"'),
            (1 / G, 1),
            "declared as m/s^2, but gravity at rest is 1: this looks like g",
        ),
        (('"s"', '"g"', '"rad/s"'), (1000 / G, 1), "this looks like mg"),
        (
            ('"s"', '"m/s^2"', '"rad/s"'),
            (2048 / G, 1),
            "gravity at rest is 2048: this is no known unit: counts?",
        ),
        (('"s"', '"m/s^2"', '"deg/s"'), (1, 1), "declared as deg/s: this looks like rad/s"),
        (('"s"', '"m/s^2"', '"rad/s"'), (1, DEGREES), "declared as rad/s: this looks like deg/s"),
        (('"s"', '"m/s^2"', '"rad/s"'), (1, -1), "turns against gravity: a sign is reversed"),
    ],
)
def test_wrong_units_and_signs_are_errors(session, declared, factors, expected):
    time_s, acceleration, angular_velocity = turning()
    folder = session(
        units=declared, signals=(time_s, factors[0] * acceleration, factors[1] * angular_velocity)
    )
    left = inspect(folder)[0]
    (error,) = findings(left, "error")
    assert expected in error
    run = read_session(folder)
    (same,) = unit_errors(regularise(load(run, run.runs[0], "left_skate")), G)
    assert same == error


def test_sound_units_are_no_errors(session):
    run = read_session(session())
    assert unit_errors(regularise(load(run, run.runs[0], "left_skate")), G) == ()


def test_without_slow_turns_the_peak_tells_the_unit(session, rng):
    # At rest, then shaken by several g: no turn can be compared with gravity.
    time_s = np.arange(8000) / RATE_HZ
    acceleration = np.array([0, 0, G]) + 0.02 * rng.normal(size=(8000, 3))
    acceleration[5000:] += 30 * rng.normal(size=(3000, 3))
    angular_velocity = 0.002 * rng.normal(size=(8000, 3))
    angular_velocity[5000:] += 5 * rng.normal(size=(3000, 3))
    slow = inspect(
        session(units=('"s"', '"m/s^2"', '"deg/s"'), signals=(time_s, acceleration, angular_velocity))
    )[0]
    assert slow.gyroscope_scale is None
    assert any("this looks like rad/s" in text for text in findings(slow, "error"))
    fast = inspect(session(signals=(time_s, acceleration, angular_velocity * DEGREES)))[0]
    assert any("this looks like deg/s" in text for text in findings(fast, "error"))


@pytest.fixture
def rng():
    return np.random.default_rng(11)


def test_a_reversed_acceleration_is_seen_by_the_axis_that_should_point_up(session):
    time_s, acceleration, angular_velocity = turning()
    left = inspect(session('axes = ["+x", "+y", "+z"]', (time_s, -acceleration, angular_velocity)))[0]
    (error,) = findings(left, "error")
    assert (
        "axes say +z points up, but at rest gravity shows -z: the sign of the acceleration is reversed"
        in error
    )


def test_other_axes_than_declared(session):
    left = inspect(session('axes = ["+y", "+z", "+x"]'))[0]
    assert findings(left, "warning") == ["axes say +x points up, but at rest +z does; correct axes"]


def test_an_offset_of_gravity_asks_for_a_calibration(session):
    time_s, acceleration, angular_velocity = turning()
    left = inspect(session(signals=(time_s, acceleration + np.array([0, 0, 0.5]), angular_velocity)))[0]
    (warning,) = findings(left, "warning")
    assert warning.startswith("gravity at rest is +5.1 % off")


def test_the_calibration_is_applied_before_anything_is_told(session, tmp_path):
    bias = (0.3, -0.2, 0.5)
    (tmp_path / "S041.toml").write_text(
        f"""\
device = "S041"
date = 2026-09-20
method = "test"
gravity_m_s2 = 9.81
[accelerometer]
bias_m_s2 = {list(bias)}
matrix = [[1, 0, 0], [0, 1, 0], [0, 0, 1]]
"""
    )
    time_s, acceleration, angular_velocity = turning()
    left = inspect(session('calibration = "../S041.toml"', (time_s, acceleration + bias, angular_velocity)))[
        0
    ]
    assert left.is_calibrated
    assert left.rest.gravity == pytest.approx(G, abs=0.01)
    assert left.findings == ()


def test_local_gravity_follows_the_latitude(session):
    folder = session()
    text = (folder / "session.toml").read_text()
    time_s, acceleration, angular_velocity = turning()
    session(signals=(time_s, acceleration * 1.03, angular_velocity))
    (folder / "session.toml").write_text("latitude_deg = 60\n" + text)
    (warning,) = findings(inspect(folder)[0], "warning")
    assert "(9.819 m/s^2 expected)" in warning  # WGS-84 at 60 degrees: 9.81917


def test_faults_of_the_samples_are_counted(session):
    time_s, acceleration, angular_velocity = turning()
    table = np.column_stack((time_s, acceleration, angular_velocity))
    table[500, 2] = np.nan
    table = np.delete(table, np.r_[1000:1100], axis=0)
    table = np.insert(table, 300, table[300], axis=0)
    table[6000:6010, 4] = 40.0
    left = inspect(session(signals=(table[:, 0], table[:, 1:4], table[:, 4:])))[0]
    assert (left.nan_rows, left.duplicates, left.bridged, left.missing_samples) == (1, 1, 1, 101)
    assert left.clipped_samples == 10
    assert left.gaps == (pytest.approx((999 / RATE_HZ, 1100 / RATE_HZ)),)
    warnings = findings(left, "warning")
    assert "10 samples are clipped; use a larger range" in warnings
    assert "a gap from 2.4975 to 2.7500 s" in warnings


def test_sensors_of_different_length_are_noticed(session):
    time_s, acceleration, angular_velocity = turning()
    short = (time_s[:8000], acceleration[:8000], angular_velocity[:8000])
    left, right = inspect(session(right=short))
    assert left.findings == ()
    assert findings(right, "warning") == [
        "20.0 s long, the longest sensor of the run 30.0 s: did it start late or stop early?"
    ]


def test_one_file_that_cannot_be_read_does_not_hide_the_others(session):
    folder = session()
    (folder / "left.csv").unlink()
    left, right = inspect(folder)
    assert "no such file" in left.problem
    assert left.rows is None
    assert right.rows == 12000
    assert "error    session/left.csv: no such file" in render([left])


def test_half_a_line_at_the_end_is_told(session):
    folder = session()
    text = (folder / "left.csv").read_text()
    (folder / "left.csv").write_text(text[:-30])
    left = inspect(folder)[0]
    assert left.rows == 11999
    assert findings(left, "note")[0].startswith("the last line is cut off")


def test_a_column_of_nothing_is_told(session):
    time_s, acceleration, _ = turning()
    left = inspect(session(signals=(time_s, acceleration, np.zeros((12000, 3)))))[0]
    assert findings(left, "error") == ["angular velocity is zero throughout; is this the right column?"]


def test_a_log_without_rest(session, rng):
    time_s = np.arange(4000) / RATE_HZ
    left = inspect(session(signals=(time_s, 20 * rng.normal(size=(4000, 3)), rng.normal(size=(4000, 3)))))[0]
    assert left.rest is None
    assert findings(left, "note") == ["never at rest for 1 s: gravity, noise and bandwidth cannot be told"]


@pytest.mark.parametrize("cut_off_hz", [40.0, 90.0, None])
def test_the_bandwidth_shows_in_the_noise_at_rest(session, rng, cut_off_hz):
    def device(values):
        return (
            values
            if cut_off_hz is None
            else sosfilt(butter(2, cut_off_hz, fs=RATE_HZ, output="sos"), values, axis=0)
        )

    time_s, acceleration, angular_velocity = turning(noise=(0.0, 0.0))
    acceleration += device(0.05 * rng.normal(size=(12000, 3)))
    angular_velocity += device(0.005 * rng.normal(size=(12000, 3)))
    left = inspect(session(signals=(time_s, acceleration, angular_velocity)))[0]
    if cut_off_hz is None:
        assert left.bandwidth_hz is None
    else:
        assert left.bandwidth_hz == pytest.approx(cut_off_hz, rel=0.15)
    assert bool(findings(left, "note")) == (cut_off_hz == 40.0)


def test_a_lone_file_with_declared_units(session):
    folder = session()
    columns = Columns(time="t", acceleration=("ax", "ay", "az"), angular_velocity=("gx", "gy", "gz"))
    (report,) = inspect(
        folder / "left.csv", columns, Units(time="s", acceleration="m/s^2", angular_velocity="rad/s")
    )
    assert report.units == "SI"
    assert report.findings == ()
    assert report.rest.gravity == pytest.approx(G, abs=0.01)


@pytest.mark.parametrize(("unit", "factor"), [("s", 1.0), ("ms", 1e3), ("us", 1e6)])
def test_a_lone_file_of_which_nothing_is_declared(session, unit, factor):
    time_s, acceleration, angular_velocity = turning()
    folder = session(signals=(time_s * factor, acceleration / G, angular_velocity * DEGREES))
    (report,) = inspect(folder / "left.csv")
    assert report.units == "file units"
    assert report.rate_hz == pytest.approx(RATE_HZ, rel=1e-5)
    assert report.rest.gravity == pytest.approx(1.0, abs=0.001)
    notes = " ".join(findings(report, "note"))
    assert f"look like {unit}" in notes
    assert "acceleration declared nowhere; gravity at rest is 1: this looks like g" in notes
    assert "this looks like deg/s" in notes
    assert not findings(report, "error")
    assert "(file units)" in render([report])


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_a_lone_file_of_another_dialect(session, encoding):
    folder = session()
    text = (folder / "left.csv").read_text().replace(",", ";").replace(".", ",")
    above = "Logger 7; 3 axes\nstarted;03.10.2026\n\n"
    (folder / "left.csv").write_text(above + text, encoding=encoding)
    (report,) = inspect(folder / "left.csv")
    assert report.rows == 12000
    (told,) = [note for note in findings(report, "note") if note.startswith("read as found")]
    assert "delimiter ';'" in told
    assert "3 lines above the header" in told
    assert "decimal comma" in told
    assert ("UTF-16" in told) == (encoding == "utf-16")


@pytest.mark.parametrize("below", [False, True])
def test_units_in_the_header_of_a_lone_file_are_used_and_told(session, below):
    time_s, acceleration, angular_velocity = turning()
    folder = session(signals=(1e3 * time_s, acceleration / G, angular_velocity * DEGREES))
    _, _, rows = (folder / "left.csv").read_text().partition("\n")
    header = "timestamp (ms),acc x [g],acc y [g],acc z [g],gyr x (dps),gyr y (dps),gyr z (dps)"
    if below:
        header = "timestamp,acc x,acc y,acc z,gyr x,gyr y,gyr z\nms,g,g,g,dps,dps,dps"
    (folder / "left.csv").write_text(f"{header}\n{rows}")
    (report,) = inspect(folder / "left.csv")
    assert report.units == "SI"
    assert report.rate_hz == pytest.approx(RATE_HZ, rel=1e-5)
    assert report.rest.gravity == pytest.approx(G, abs=0.01)
    told = "units declared nowhere: time ms, acceleration g, angular velocity deg/s by the header"
    assert told in findings(report, "note")


@pytest.mark.parametrize(
    ("day", "told"), [("13.10.2026", "time date-time day-first"), ("2026-10-03", "time date-time")]
)
def test_date_times_of_a_lone_file_are_told(session, day, told):
    folder = session()
    header, *lines = (folder / "left.csv").read_text().splitlines()
    stamps = [f"{day} 14:05:{float(line.split(',')[0]):09.6f}" for line in lines]
    rows = [f"{stamp},{line.partition(',')[2]}" for stamp, line in zip(stamps, lines, strict=True)]
    (folder / "left.csv").write_text("\n".join([header, *rows]))
    (report,) = inspect(folder / "left.csv")
    assert report.start_s == pytest.approx(14 * 3600 + 5 * 60)
    assert f"units declared nowhere: {told} by the header" in findings(report, "note")
    if "-" not in day:
        swapped = (folder / "left.csv").read_text().replace("13.10.", "03.10.")
        (folder / "left.csv").write_text(swapped)
        with pytest.raises(FileFormatError, match="day and month of the stamps cannot be told apart"):
            inspect(folder / "left.csv")


def test_a_session_says_what_was_found_and_what_its_header_contradicts(session):
    folder = session()
    text = (folder / "left.csv").read_text()
    (folder / "left.csv").write_text(text.replace(",", ";"))
    (folder / "right.csv").write_text(text.replace("ax", "ax [g]", 1))
    left, right = inspect(folder)
    assert "read as found: delimiter ';'" in findings(left, "note")
    assert "column ax [g]: the header says 'g', declared is 'm/s^2'" in right.problem


def test_a_lone_group_of_an_hdf5_file(tmp_path):
    time_s, acceleration, angular_velocity = turning()
    with h5py.File(tmp_path / "log.h5", "w") as file:
        group = file.create_group("left")
        group["timestamp"], group["accelerometer"], group["gyroscope"] = (
            time_s,
            acceleration,
            angular_velocity,
        )
    (report,) = inspect(tmp_path / "log.h5#/left")
    assert report.rows == 12000
    assert report.source.endswith("log.h5#/left")


def test_columns_that_cannot_be_guessed_are_listed(tmp_path):
    (tmp_path / "a.csv").write_text("foo,bar\n1,2\n")
    with pytest.raises(
        FileFormatError, match=r"cannot tell which columns .*; the file has foo, bar; give --columns"
    ):
        inspect(tmp_path / "a.csv")


def test_what_does_not_exist(tmp_path):
    with pytest.raises(FileFormatError, match="no such file or folder"):
        inspect(tmp_path / "none")
