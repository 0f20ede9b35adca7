import datetime as dt
import tomllib

import numpy as np
import pytest

from imustride.calibration import read_calibration
from imustride.calibration.triad import triad
from imustride.calibration.writing import Part, calibration_path, part, plan
from imustride.errors import CalibrationError, SettingsError
from imustride.exporting.swap import write_whole

DATE = dt.date(2026, 10, 3)
BIAS = np.array([0.1, -0.25, 32768.5])


def made(name="accelerometer", bias=BIAS, *, counts=False, measured=True, method="by hand"):
    found = triad(
        np.ones(3),
        np.diag([1e-6, 4e-6, 9e-6]),
        lambda p: (np.asarray(bias, dtype=float), np.diag(p)),
        2.0,
        from_counts=counts,
    )
    return part(name, found, {"method": method, "positions": 12}, {f"{name}_x": 0.5}, measured=measured)


def text_of(path, *parts, device="S042", gravity=9.8191, replace=False):
    return plan(path, device, DATE, gravity, list(parts), replace=replace)


def write(target):
    write_whole(target.path, target.text)


@pytest.fixture
def path(tmp_path):
    return calibration_path(tmp_path / "calibration", "S042", DATE)


def test_a_file_is_read_back_as_it_was_written(path):
    write(text_of(path, made(), made("gyroscope", counts=True)))
    found = read_calibration(path)
    assert path.relative_to(path.parents[1]).as_posix() == "S042/2026-10-03.toml"
    assert (found.device, found.date, found.gravity_m_s2, found.method) == ("S042", DATE, 9.8191, "by hand")
    np.testing.assert_allclose(found.accelerometer.bias, BIAS, rtol=1e-9)
    assert not found.accelerometer.from_counts
    assert found.gyroscope.from_counts
    assert found.residuals == {"accelerometer_x": 0.5, "gyroscope_x": 0.5}
    told = tomllib.loads(path.read_text(encoding="utf-8"))["accelerometer"]
    np.testing.assert_allclose(told["scale_sd"], [1e-3, 2e-3, 3e-3], rtol=1e-6)
    assert told["positions"] == 12
    assert [entry.name for entry in path.parent.iterdir()] == [path.name]


def test_a_file_is_never_written_over_silently(path):
    write(text_of(path, made()))
    before = path.read_bytes()
    with pytest.raises(
        SettingsError, match=r"holds a calibration of the accelerometer already; give --replace"
    ):
        text_of(path, made(bias=[1, 2, 3]))
    assert path.read_bytes() == before
    target = text_of(path, made(bias=[1, 2, 3]), replace=True)
    assert target.replaced == ("accelerometer",)
    write(target)
    np.testing.assert_allclose(read_calibration(path).accelerometer.bias, [1, 2, 3])


def test_the_other_triad_is_added_and_what_was_there_is_kept(path):
    write(text_of(path, made(method="positions")))
    with path.open("a", encoding="utf-8") as file:
        file.write('\n[bench]\nroom = "cold \\"one\\""\ntemperature_c = 4\n')
    target = text_of(path, made("gyroscope", method="turns"), gravity=9.80665)
    assert (target.kept, target.replaced) == (("accelerometer",), ())
    write(target)
    found = read_calibration(path)
    assert found.method == "positions; turns"
    assert found.gravity_m_s2 == 9.8191  # that of the accelerometer, not of the later recording
    assert found.residuals == {"accelerometer_x": 0.5, "gyroscope_x": 0.5}
    assert tomllib.loads(path.read_text(encoding="utf-8"))["bench"] == {
        "room": 'cold "one"',
        "temperature_c": 4,
    }


def test_a_bias_alone_does_not_replace_a_whole_calibration(path):
    write(text_of(path, made("gyroscope", method="turns")))
    write(text_of(path, made(), made("gyroscope", bias=[9, 9, 9], measured=False)))
    np.testing.assert_allclose(read_calibration(path).gyroscope.bias, BIAS, rtol=1e-9)


def test_a_whole_calibration_replaces_a_bias_alone(path):
    write(text_of(path, made(), made("gyroscope", measured=False)))
    assert tomllib.loads(path.read_text(encoding="utf-8"))["gyroscope"]["measured"] is False
    write(text_of(path, made("gyroscope", bias=[1, 2, 3], method="turns")))
    np.testing.assert_allclose(read_calibration(path).gyroscope.bias, [1, 2, 3])


def test_a_file_of_another_device_is_left_alone(path):
    write(text_of(path, made(), device="S041"))
    with pytest.raises(CalibrationError, match="holds a calibration of device 'S041'; wanted 'S042'"):
        text_of(path, made(), replace=True)


def test_a_file_that_cannot_be_read_is_left_alone(path):
    path.parent.mkdir(parents=True)
    path.write_text("my notes", encoding="utf-8")
    with pytest.raises(SettingsError, match="is there and cannot be read as a calibration"):
        text_of(path, made())
    write(text_of(path, made(), replace=True))
    assert read_calibration(path).device == "S042"


@pytest.mark.parametrize("device", ["", "a/b", "..", "S 1", "con", "-x", "x" * 33, "S041\n"])
def test_a_device_must_have_a_name_a_folder_can_have(tmp_path, device):
    with pytest.raises(SettingsError, match="--device: found"):
        calibration_path(tmp_path, device, DATE)


def test_a_part_without_scale_says_so():
    content = made("gyroscope", measured=False).content
    assert isinstance(made(), Part)
    assert content["measured"] is False
    assert "scale_sd" not in content
