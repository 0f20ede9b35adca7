import h5py
import numpy as np
import pytest

from imustride.errors import FileFormatError
from imustride.loaders import load_file
from imustride.loaders.blocks import load_blocks
from imustride.session import Columns, Sensor, Units

COLUMNS = Columns(time="t", acceleration=("ax", "ay", "az"), angular_velocity=("gx", "gy", "gz"))
UNITS = Units(time="ms", acceleration="g", angular_velocity="deg/s")
NAMES = ("time_s", "acceleration_m_s2", "angular_velocity_rad_s")


@pytest.fixture
def sensor():
    return Sensor(place="trunk", columns=COLUMNS, units=UNITS)


@pytest.fixture
def values():
    rng = np.random.default_rng(3)
    return np.column_stack([5.0 * np.arange(1000), rng.normal(size=(1000, 6)).round(4)])


@pytest.fixture
def text(tmp_path, values):
    path = tmp_path / "table.csv"
    np.savetxt(path, values, delimiter=",", header="t,ax,ay,az,gx,gy,gz", comments="", fmt="%.4f")
    return path


@pytest.fixture
def hdf5(tmp_path, values):
    path = tmp_path / "table.h5"
    with h5py.File(path, "w") as file:
        group = file.create_group("sensor")
        group["t"], group["acc"], group["gyr"] = values[:, 0], values[:, 1:4], values[:, 4:]
    return path


def joined(logs, name):
    return np.concatenate([getattr(log, name) for log in logs])


@pytest.mark.parametrize("rows", [1, 333, 1000, 5000])
def test_blocks_of_text_are_the_whole_file(text, sensor, rows):
    logs, whole = list(load_blocks(text, None, sensor, rows)), load_file(text, None, sensor)
    assert len(logs) == -(-1000 // rows)
    for name in NAMES:
        np.testing.assert_array_equal(joined(logs, name), getattr(whole, name))


def test_blocks_of_hdf5_are_the_whole_file(hdf5, sensor):
    sensor = sensor.model_copy(
        update={"columns": Columns(time="t", acceleration="acc", angular_velocity="gyr")}
    )
    logs, whole = list(load_blocks(hdf5, "/sensor", sensor, 300)), load_file(hdf5, "/sensor", sensor)
    assert [len(log.time_s) for log in logs] == [300, 300, 300, 100]
    for name in NAMES:
        np.testing.assert_array_equal(joined(logs, name), getattr(whole, name))


def test_a_file_without_time_counts_on_from_block_to_block(text, sensor):
    sensor = sensor.model_copy(
        update={"columns": COLUMNS.model_copy(update={"time": None}), "rate_hz": 200.0}
    )
    logs = list(load_blocks(text, None, sensor, 400))
    np.testing.assert_allclose(joined(logs, "time_s"), np.arange(1000) / 200.0, rtol=1e-12)


def test_a_cut_last_line_is_left_out_and_told(text, sensor):
    with text.open("a") as file:
        file.write("5000.0,0.1")
    logs = list(load_blocks(text, None, sensor, 400))
    assert sum(len(log.time_s) for log in logs) == 1000
    assert "cut off" in logs[0].notes[0]


@pytest.mark.parametrize(
    ("line", "said"),
    [("1,2,3", "line 902 has 3 fields"), ("1,2,3,x,5,6,7", "line 902, column az: found 'x'")],
)
def test_a_bad_row_far_down_is_refused_with_its_line(text, sensor, line, said):
    lines = text.read_text().splitlines()
    lines[901] = line
    text.write_text("\n".join(lines) + "\n")
    with pytest.raises(FileFormatError, match=said):
        list(load_blocks(text, None, sensor, 100))


def test_a_missing_file_is_refused(tmp_path, sensor):
    with pytest.raises(FileFormatError, match="no such file"):
        list(load_blocks(tmp_path / "gone.csv", None, sensor))


def test_datasets_of_different_lengths_are_refused(tmp_path, sensor):
    with h5py.File(tmp_path / "odd.h5", "w") as file:
        file["t"], file["acc"], file["gyr"] = np.arange(9.0), np.zeros((9, 3)), np.zeros((8, 3))
    sensor = sensor.model_copy(
        update={"columns": Columns(time="t", acceleration="acc", angular_velocity="gyr")}
    )
    with pytest.raises(FileFormatError, match="different lengths"):
        list(load_blocks(tmp_path / "odd.h5", None, sensor))
