import pytest

from imustride.errors import FileFormatError
from imustride.preparing.kit import read_kit


def refused(tmp_path, text):
    (tmp_path / "kit.toml").write_text(text, encoding="utf-8")
    with pytest.raises(FileFormatError) as caught:
        read_kit(tmp_path / "kit.toml")
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_what_belongs_to_the_place_and_to_the_device_meets_in_the_sensor(kit):
    assert kit.sensor("left_skate", "S041") == {
        "place": "left_skate",
        "device": "S041",
        "axes": ("+x", "+y", "+z"),
        "position_m": (0.0, 0.04, 0.1),
        "acceleration_range_g": 16,
    }
    assert kit.sensor("right_skate", "S042") == {"place": "right_skate", "device": "S042"}


def test_the_newest_calibration_that_is_not_younger_than_the_test_is_taken(tmp_path, day):
    folder = tmp_path / "calibrations" / "S041"
    folder.mkdir(parents=True)
    for name in ("2026-08-01.toml", "2026-09-20.toml", "2026-11-01.toml", "notes.toml"):
        (folder / name).write_text("")
    (tmp_path / "kit.toml").write_text('calibrations = "calibrations"\n')
    kit = read_kit(tmp_path / "kit.toml")
    assert kit.calibration("S041", day) == folder / "2026-09-20.toml"
    assert kit.calibration("S042", day) is None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("surface = 'grass'", "surface: found 'grass'; wanted 'ice' or 'synthetic'"),
        ("athlete = 'A07'", "athlete: unknown key; remove it"),
        ("surface = ", "not valid TOML"),
        ("logs = '{name}.csv'", "unknown {name}; wanted {date}"),
        ("[[devices]]\ndevice = 'S1'\n[[devices]]\ndevice = 'S1'", "devices: 'S1' is there twice"),
        ("[[places]]\nplace = 'hat'", "places[0].place: found 'hat'; wanted 'left_skate'"),
    ],
)
def test_a_wrong_kit_is_refused_in_one_line(tmp_path, text, said):
    assert said in refused(tmp_path, text)


def test_a_missing_kit_is_refused(tmp_path):
    with pytest.raises(FileFormatError, match="no such file"):
        read_kit(tmp_path / "kit.toml")
