import datetime as dt
import os
from pathlib import Path

import numpy as np
import pytest

from imustride.calibration import apply, read_calibration
from imustride.errors import CalibrationError
from imustride.recording import Recording
from imustride.session import Sensor, Units

ROOT = Path(__file__).parents[3]
TEXT = """\
device = "S041"
date = 2026-09-20
method = "six positions"
gravity_m_s2 = 9.8191
temperature_c = 4.5

[accelerometer]
bias_m_s2 = [0.5, -0.25, 0.125]
matrix = [[1.0, 0.5, 0.0], [0.0, 2.0, 0.0], [0.0, 0.0, 0.5]]

[gyroscope]
bias_rad_s = [0.0, 0.5, -0.5]
matrix = [[2.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.25, 0.0, 1.0]]

[residuals]
accelerometer_m_s2 = 0.003
"""
COUNTS = (
    TEXT.replace("bias_m_s2 = [0.5, -0.25, 0.125]", "bias_counts = [33124, 33275, 32364]")
    .replace("bias_rad_s = [0.0, 0.5, -0.5]", "bias_counts = [32777, 32459, 32511]")
    .replace("[[1.0, 0.5, 0.0], [0.0, 2.0, 0.0], [0.0, 0.0, 0.5]]", "[[0.0024, 0, 0], [0, 0.0024, 0], [0, 0, 0.0024]]")
)  # fmt: skip


@pytest.fixture
def write(tmp_path):
    def _write(text, name="2026-09-20.toml"):
        (tmp_path / "S041").mkdir(exist_ok=True)
        (tmp_path / "S041" / name).write_text(text, encoding="utf-8")
        return tmp_path / "S041" / name

    return _write


@pytest.fixture
def recording():
    def _recording(device="S041", acceleration="m/s^2", angular_velocity="deg/s", values=None):
        sensor = Sensor(
            place="left_skate",
            device=device,
            units=Units(time="s", acceleration=acceleration, angular_velocity=angular_velocity),
        )
        values = (
            np.array([[1.0, 2.0, 4.0], [0.5, -0.25, 0.125]])
            if values is None
            else np.array(values, dtype=float)
        )
        flags = np.ones(len(values), dtype=bool)
        return Recording(
            sensor, 3.0, 500.0, values.copy(), values.copy(), flags, np.zeros((len(values), 2), dtype=bool)
        )

    return _recording


def test_a_calibration_is_read_whole(write):
    calibration = read_calibration(write(TEXT))
    assert (calibration.device, calibration.date, calibration.method) == (
        "S041",
        dt.date(2026, 9, 20),
        "six positions",
    )
    assert calibration.gravity_m_s2 == 9.8191
    assert calibration.residuals == {"accelerometer_m_s2": 0.003}
    assert calibration.source == "S041/2026-09-20.toml"
    np.testing.assert_array_equal(calibration.gyroscope.bias, [0, 0.5, -0.5])
    with pytest.raises(ValueError, match="read-only"):
        calibration.accelerometer.matrix[0, 0] = 2


def test_corrected_is_matrix_times_raw_less_bias(write, recording):
    given = recording()
    corrected = apply(given, read_calibration(write(TEXT)))
    # Worked out on paper: raw less bias is 0.5, 2.25, 3.875.
    np.testing.assert_allclose(corrected.acceleration_m_s2, [[1.625, 4.5, 1.9375], [0, 0, 0]], atol=1e-15)
    # Here it is 1, 1.5, 4.5.
    np.testing.assert_allclose(corrected.angular_velocity_rad_s[0], [2, 1.5, 4.75], atol=1e-15)
    np.testing.assert_array_equal(given.acceleration_m_s2[0], [1, 2, 4])
    assert (corrected.start_s, corrected.rate_hz, corrected.sensor) == (3.0, 500.0, given.sensor)


def test_counts_become_si_units(write, recording):
    given = recording(acceleration="counts", angular_velocity="counts", values=[[33124, 33275, 32364 + 4096]])
    corrected = apply(given, read_calibration(write(COUNTS)))
    np.testing.assert_allclose(corrected.acceleration_m_s2, [[0, 0, 4096 * 0.0024]], atol=1e-12)


@pytest.mark.parametrize("device", ["S042", "unknown"])
def test_a_calibration_of_another_device_is_refused(write, recording, device):
    with pytest.raises(
        CalibrationError, match=f"S041/2026-09-20.toml: calibration of device 'S041'; wanted '{device}'"
    ):
        apply(recording(device), read_calibration(write(TEXT)))


def test_counts_and_si_units_are_not_mixed(write, recording):
    with pytest.raises(CalibrationError, match="corrects acceleration in counts, but the file's unit is m/s"):
        apply(recording(angular_velocity="counts"), read_calibration(write(COUNTS)))
    with pytest.raises(
        CalibrationError, match="corrects angular_velocity in SI units, but the file's unit is counts"
    ):
        apply(recording(angular_velocity="counts"), read_calibration(write(TEXT)))


def test_a_triad_that_is_not_named_stays_as_it_is(write, recording):
    text = TEXT.split("[gyroscope]", maxsplit=1)[0]
    corrected = apply(recording(), read_calibration(write(text)))
    np.testing.assert_array_equal(corrected.angular_velocity_rad_s, recording().angular_velocity_rad_s)
    with pytest.raises(CalibrationError, match="angular_velocity in SI units, but the file's unit is counts"):
        apply(recording(angular_velocity="counts"), read_calibration(write(text)))


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('device = "S041"\n', "", "device: Field required"),
        ('device = "S041"', "device = 41", "device: wanted a valid string"),
        ("2026-09-20", '"20 September"', "date: wanted a valid date"),
        ("gravity_m_s2 = 9.8191", "gravity_m_s2 = 1.0", "gravity_m_s2: wanted greater than or equal to 9.7"),
        ("bias_m_s2 =", "bias =", "accelerometer: wanted either bias_m_s2 or bias_counts"),
        ("[0.5, -0.25, 0.125]", "[0.5, -0.25]", r"accelerometer\.bias_m_s2\.2: Field required"),
        ("[0.5, -0.25, 0.125]", "[0.5, -0.25, nan]", r"accelerometer\.bias_m_s2\.2: wanted a finite number"),
        ("[0.5, -0.25, 0.125]", "[0, 0, 0]\nbias_counts = [0, 0, 0]", "wanted either bias_m_s2 or bias_counts"),
        ("[0.0, 2.0, 0.0]", "[2.0, 1.0, 0.0]", r"accelerometer\.matrix: cannot be inverted"),
        ("[0.0, 2.0, 0.0]", "[0.0, 0.0, 0.0]", r"accelerometer\.matrix: cannot be inverted"),
        ("[accelerometer]", "[accelerometer", "not valid TOML: .*line 7"),
    ],
)  # fmt: skip
def test_a_wrong_calibration_is_named(write, old, new, message):
    assert old in TEXT
    with pytest.raises(CalibrationError, match=message) as caught:
        read_calibration(write(TEXT.replace(old, new, 1)))
    assert str(caught.value).startswith("S041/2026-09-20.toml: ")
    assert "\n" not in str(caught.value)


def test_every_problem_is_reported_at_once(write):
    with pytest.raises(CalibrationError, match=r"accelerometer: .*; gyroscope\.matrix: "):
        read_calibration(
            write(TEXT.replace("bias_m_s2", "bias").replace("[2.0, 0.0, 0.0]", "[0.0, 0.0, 0.0]"))
        )


def test_neither_triad(write):
    with pytest.raises(CalibrationError, match=r"neither \[accelerometer\] nor \[gyroscope\]"):
        read_calibration(write(TEXT.split("[accelerometer]", maxsplit=1)[0]))


def test_only_a_small_regular_toml_file_is_read(write, tmp_path):
    with pytest.raises(CalibrationError, match="no such calibration file"):
        read_calibration(tmp_path / "none.toml")
    with pytest.raises(CalibrationError, match="no such calibration file"):
        read_calibration(tmp_path)
    with pytest.raises(CalibrationError, match=r"wanted a \.toml file below 1000000 bytes"):
        read_calibration(write(TEXT, "a.txt"))
    with pytest.raises(CalibrationError, match=r"wanted a \.toml file below 1000000 bytes"):
        read_calibration(write(TEXT + "#" * 1_000_000))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
def test_a_pipe_does_not_stop_the_program(tmp_path):
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(CalibrationError, match="no such calibration file"):
        read_calibration(tmp_path / "pipe.toml")


def test_a_link_to_another_kind_of_file_is_refused(tmp_path):
    (tmp_path / "secret.txt").write_text(TEXT)
    (tmp_path / "link.toml").symlink_to(tmp_path / "secret.txt")
    with pytest.raises(CalibrationError, match=r"wanted a \.toml file"):
        read_calibration(tmp_path / "link.toml")


def test_the_example_that_is_shipped_is_sound():
    calibration = read_calibration(ROOT / "calibration/S041/2026-09-20.toml")
    assert calibration.device == "S041"
    for correction in (calibration.accelerometer, calibration.gyroscope):
        assert not correction.from_counts
        np.testing.assert_allclose(correction.matrix, np.eye(3), atol=0.02)
