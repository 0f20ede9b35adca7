"""C3D: what its 16-bit count, its unit texts and damaged files can do; the reader in a process of its own."""

import struct
import sys

import ezc3d
import numpy as np
import pytest

from imustride.errors import FileFormatError, SettingsError, SignalQualityError
from imustride.exporting.c3d import ACCELERATION, ANGULAR_VELOCITY, write_c3d
from imustride.loaders import c3d, load_file
from imustride.recording import Recording
from imustride.session import Columns, Sensor, Units

SENSOR = Sensor(
    place="left_skate",
    columns=Columns(acceleration=ACCELERATION, angular_velocity=ANGULAR_VELOCITY),
    units=Units(acceleration="m/s^2", angular_velocity="rad/s"),
    rate_hz=100.0,
)


def recording(count, rate_hz=100.0, start_s=-3.25, sensor=SENSOR):
    rng = np.random.default_rng(count)
    # Numbers that 32-bit floats hold: what comes back is compared bit by bit.
    acceleration, turning = (rng.normal(size=(count, 3)).astype(np.float32).astype(float) for _ in range(2))
    measured = np.ones(count, dtype=bool)
    clipped = np.zeros((count, 2), dtype=bool)
    return Recording(sensor, start_s, rate_hz, acceleration, turning, measured, clipped)


@pytest.fixture
def small(tmp_path):
    write_c3d(tmp_path / "a.c3d", recording(50))
    return tmp_path / "a.c3d"


def refusal(path, sensor=SENSOR):
    with pytest.raises(FileFormatError) as caught:
        load_file(path, None, sensor)
    assert "\n" not in str(caught.value)
    assert path.name in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize("count", [1, 50, 65535, 65536, 70001])
def test_every_sample_comes_back_beyond_16_bits(tmp_path, count):
    written = recording(count)
    write_c3d(tmp_path / "a.c3d", written)
    log = load_file(tmp_path / "a.c3d", None, SENSOR)
    np.testing.assert_array_equal(log.acceleration_m_s2, written.acceleration_m_s2)
    np.testing.assert_array_equal(log.angular_velocity_rad_s, written.angular_velocity_rad_s)
    np.testing.assert_allclose(log.time_s, written.time_s, rtol=0, atol=1e-9)


@pytest.mark.parametrize("rate_hz", [100.0, 1000.0, 249.9993, 512.0])
def test_whole_samples_a_frame_whatever_the_rate(tmp_path, rate_hz):
    """Three samples a frame at 1000 Hz come back as two: 1000 / float32(1000 / 3) is 2.9999999."""
    written = recording(140_000, rate_hz)
    write_c3d(tmp_path / "a.c3d", written)
    sensor = SENSOR.model_copy(update={"rate_hz": rate_hz})
    log = load_file(tmp_path / "a.c3d", None, sensor)
    np.testing.assert_array_equal(log.angular_velocity_rad_s, written.angular_velocity_rad_s)


def test_other_readers_see_samples_and_rate(tmp_path):
    write_c3d(tmp_path / "a.c3d", recording(70001))
    file = ezc3d.c3d(str(tmp_path / "a.c3d"))
    # Two samples a frame; the last frame is filled up by one sample, which is marked.
    assert file["data"]["analogs"].shape == (1, 7, 70002)
    assert file["data"]["analogs"][0, 6, -2:].tolist() == [1, 0]
    assert file["parameters"]["ANALOG"]["RATE"]["value"][0] == 100
    assert file["parameters"]["POINT"]["RATE"]["value"][0] == 50
    assert file["parameters"]["ANALOG"]["UNITS"]["value"] == [*["m/s^2"] * 3, *["rad/s"] * 3, "1"]


def test_lost_samples_stay_lost(tmp_path):
    lost = recording(100)
    measured = np.ones(100, dtype=bool)
    measured[40:60] = False
    lost = Recording(
        SENSOR, 0.0, 100.0, lost.acceleration_m_s2, lost.angular_velocity_rad_s, measured, lost.clipped
    )
    write_c3d(tmp_path / "a.c3d", lost)
    log = load_file(tmp_path / "a.c3d", None, SENSOR)
    assert np.flatnonzero(np.isnan(log.acceleration_m_s2[:, 1])).tolist() == list(range(40, 60))


def test_what_cannot_be_represented(tmp_path):
    counts = SENSOR.model_copy(update={"units": Units(acceleration="counts", angular_velocity="counts")})
    large = recording(5, sensor=counts)
    beyond = Recording(
        counts,
        0.0,
        100.0,
        large.acceleration_m_s2 + 2**24 + 3,
        large.angular_velocity_rad_s,
        large.measured,
        large.clipped,
    )
    with pytest.raises(
        SignalQualityError, match="left_skate: cannot be written as C3D: counts beyond 16777216"
    ):
        write_c3d(tmp_path / "a.c3d", beyond)
    missing = Recording(
        SENSOR,
        0.0,
        100.0,
        large.acceleration_m_s2 * np.nan,
        large.angular_velocity_rad_s,
        large.measured,
        large.clipped,
    )
    with pytest.raises(SignalQualityError, match="C3D has no missing values"):
        write_c3d(tmp_path / "a.c3d", missing)
    assert not (tmp_path / "a.c3d").exists()


def test_a_library_that_loses_samples_is_caught(tmp_path, monkeypatch):
    write = ezc3d.c3d.write

    def short(file, path):
        file["data"]["points"] = file["data"]["points"][..., :-1]
        file["data"]["analogs"] = file["data"]["analogs"][..., :-1]
        write(file, path)

    monkeypatch.setattr(ezc3d.c3d, "write", short)
    with pytest.raises(
        SignalQualityError, match="read again it holds 49 samples of 7 channels; wanted 50 of 7"
    ):
        write_c3d(tmp_path / "a.c3d", recording(50))


def test_another_rate_than_declared(small):
    sensor = SENSOR.model_copy(update={"rate_hz": 200.0})
    assert "a.c3d: 100 Hz; declared is rate_hz = 200" in refusal(small, sensor)


def test_units_of_the_file_are_told_and_not_believed(small):
    sensor = SENSOR.model_copy(update={"units": Units(acceleration="g", angular_velocity="rad/s")})
    log = load_file(small, None, sensor)
    assert log.notes == (
        "the file says 'm/s^2' of acceleration, which such files often get wrong; declared is g",
    )


def test_a_missing_channel(small):
    columns = Columns(acceleration=("ax", "ay", "az"), angular_velocity=ANGULAR_VELOCITY)
    sensor = SENSOR.model_copy(update={"columns": columns})
    assert "channel ax, ay, az not found; the file has acceleration.x, " in refusal(small, sensor)


def test_a_c3d_file_has_no_group(small):
    with pytest.raises(FileFormatError, match="C3D has no groups; found '#/trial'"):
        load_file(small, "/trial", SENSOR)


@pytest.mark.parametrize("kept", [0, 1, 2, 100, 512, 600, 1500])
def test_cut_off(small, kept):
    small.write_bytes(small.read_bytes()[:kept])
    refusal(small)


def test_samples_cut_off(small):
    small.write_bytes(small.read_bytes()[:-700])
    assert "cut off: the samples need" in refusal(small)


def test_a_count_that_went_round(small):
    """As a library leaves 65536 + 50 frames: 50 in the header, all of them in TRIAL."""
    file = ezc3d.c3d(str(small))
    file.add_parameter("TRIAL", "ACTUAL_START_FIELD", [1, 0])
    file.add_parameter("TRIAL", "ACTUAL_END_FIELD", [50, 1])
    file.write(str(small))
    assert "50 frames in the header, 65586 in TRIAL" in refusal(small)


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("SAMPLES", "many"),
        ("SAMPLES", "51"),
        ("SAMPLES", "-1"),
        ("START_S", "inf"),
        ("RATE_HZ", "0"),
        ("RATE_HZ", "90"),
    ],
)
def test_our_own_facts_damaged(small, name, value):
    file = ezc3d.c3d(str(small))
    file["parameters"]["IMUSTRIDE"][name]["value"] = [value]
    file.write(str(small))
    assert "its group IMUSTRIDE or channel measured is damaged" in refusal(small)


def test_a_header_that_lies(small):
    content = bytearray(small.read_bytes())
    content[6:10] = struct.pack("<2H", 1, 5000)
    small.write_bytes(content)
    refusal(small)


def test_a_reader_that_crashes_or_hangs_is_told(small, monkeypatch, tmp_path):
    fake = tmp_path / "python"
    monkeypatch.setattr(sys, "executable", str(fake))
    fake.write_text("#!/bin/sh\nkill -SEGV $$\n")
    fake.chmod(0o755)
    assert "the reader was ended by SIGSEGV" in refusal(small)
    fake.write_text("#!/bin/sh\nexec sleep 60\n")
    monkeypatch.setattr(c3d, "MOST_S", 0.2)
    assert "reading took too long" in refusal(small)


def test_the_reader_imports_nothing_from_the_current_folder(small, monkeypatch, tmp_path):
    (tmp_path / "numpy.py").write_text("raise SystemExit('from here')")
    monkeypatch.chdir(tmp_path)
    assert len(load_file(small, None, SENSOR).time_s) == 50


def test_without_the_library(small, monkeypatch):
    monkeypatch.setattr(c3d, "find_spec", lambda _: None)
    with pytest.raises(SettingsError, match=r"C3D files need ezc3d; install it with: .*imustride\[c3d\]"):
        load_file(small, None, SENSOR)
