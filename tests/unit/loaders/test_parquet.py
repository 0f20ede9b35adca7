"""Parquet: columns that are no plain numbers, sizes that no recording has, files that are damaged."""

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet as pq

from imustride.errors import FileFormatError, SettingsError
from imustride.exporting.parquet import signal_names, write_signals
from imustride.loaders import load_file, parquet
from imustride.loaders.blocks import load_blocks
from imustride.recording import SensorLog
from imustride.session import Columns, Sensor, Units

NAMES = ("t", "ax", "ay", "az", "gx", "gy", "gz")
SENSOR = Sensor(
    place="head",
    columns=Columns(time="t", acceleration=NAMES[1:4], angular_velocity=NAMES[4:]),
    units=Units(time="s", acceleration="m/s^2", angular_velocity="rad/s"),
)
TABLE = np.random.default_rng(3).normal(size=(300, 7))


def write(path, **replaced):
    columns = {name: pa.array(column) for name, column in zip(NAMES, TABLE.T, strict=True)} | replaced
    pq.write_table(pa.table(columns), path)
    return path


def refusal(path):
    with pytest.raises(FileFormatError) as caught:
        load_file(path, None, SENSOR)
    assert "\n" not in str(caught.value)
    assert path.name in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize("kind", [pa.int8(), pa.int16(), pa.uint32(), pa.int64(), pa.float32()])
def test_numbers_of_any_width(tmp_path, kind):
    path = write(tmp_path / "a.parquet", az=pa.array([100, None, 99] * 100, kind))
    found = load_file(path, None, SENSOR).acceleration_m_s2[:3, 2]
    np.testing.assert_array_equal(found, [100, np.nan, 99])


@pytest.mark.parametrize(
    ("column", "kind"),
    [
        (pa.array(["1.5"] * 300), "string"),
        (pa.array([True] * 300), "bool"),
        (pa.array([[1.0]] * 300), "list"),
        (pa.array([{"x": 1.0}] * 300), "struct"),
        (pa.array([0] * 300, pa.timestamp("ms")), "timestamp"),
        (pa.array(["1"] * 300).dictionary_encode(), "dictionary"),
    ],
)
def test_columns_that_are_no_numbers(tmp_path, column, kind):
    said = refusal(write(tmp_path / "a.parquet", gy=column))
    assert f"column gy: found type {kind}" in said
    assert "wanted numbers" in said


def test_a_column_named_twice(tmp_path):
    names = [*NAMES, "ax"]
    table = pa.table([pa.array(column) for column in (*TABLE.T, TABLE[:, 1])], names=names)
    pq.write_table(table, tmp_path / "a.parquet")
    assert "column ax found twice" in refusal(tmp_path / "a.parquet")


def test_one_name_for_three_columns(tmp_path):
    path = write(tmp_path / "a.parquet")
    columns = Columns(time="t", acceleration="acc", angular_velocity=NAMES[4:])
    with pytest.raises(FileFormatError, match="found columns 'acc'; wanted the names of three"):
        load_file(path, None, SENSOR.model_copy(update={"columns": columns}))


def test_blocks_are_the_whole(tmp_path):
    path = write(tmp_path / "a.parquet")
    blocks = list(load_blocks(path, None, SENSOR, rows=128))
    assert [len(block.time_s) for block in blocks] == [128, 128, 44]
    np.testing.assert_array_equal(
        np.concatenate([block.acceleration_m_s2 for block in blocks]), TABLE[:, 1:4]
    )


def test_a_bomb_is_refused_before_it_is_unpacked(tmp_path):
    """Ten million equal values are some 40 kB a column."""
    pq.write_table(pa.table({name: pa.array(np.zeros(10_000_000)) for name in NAMES}), tmp_path / "a.parquet")
    assert (tmp_path / "a.parquet").stat().st_size < 500_000
    assert "declares 560000000 bytes, stored in " in refusal(tmp_path / "a.parquet")


@pytest.mark.parametrize("kept", [0, 3, 4, 100, 0.5, 0.99])
def test_cut_off(tmp_path, kept):
    path = write(tmp_path / "a.parquet")
    content = path.read_bytes()
    path.write_bytes(content[: kept if isinstance(kept, int) else int(kept * len(content))])
    assert "not a Parquet file, damaged, or too long" in refusal(path)


def test_flipped_bits_in_our_own_files_never_pass_as_data(tmp_path):
    log = SensorLog(SENSOR, TABLE[:, 0], TABLE[:, 1:4], TABLE[:, 4:])
    path = tmp_path / "a.parquet"
    write_signals(path, log)
    acceleration, angular_velocity = signal_names(log)
    columns = Columns(time="time_s", acceleration=acceleration, angular_velocity=angular_velocity)
    sensor = SENSOR.model_copy(update={"columns": columns})
    content, rng = path.read_bytes(), np.random.default_rng(12)
    refused = 0
    for place in rng.integers(0, len(content), 20):
        damaged = bytearray(content)
        damaged[place] ^= 1 << int(rng.integers(8))
        path.write_bytes(damaged)
        try:
            back = load_file(path, None, sensor)
        except FileFormatError:
            refused += 1
            continue
        np.testing.assert_array_equal(back.time_s, log.time_s)
        np.testing.assert_array_equal(back.acceleration_m_s2, log.acceleration_m_s2)
        np.testing.assert_array_equal(back.angular_velocity_rad_s, log.angular_velocity_rad_s)
    assert refused > 5


def test_a_parquet_file_has_no_group(tmp_path):
    with pytest.raises(FileFormatError, match="Parquet has no groups"):
        load_file(write(tmp_path / "a.parquet"), "/x", SENSOR)


def test_a_log_comes_back_bit_by_bit(tmp_path):
    values = TABLE * 10.0 ** np.random.default_rng(4).uniform(-9, 5, TABLE.shape)
    values[5, 2] = np.nan
    log = SensorLog(SENSOR, values[:, 0], values[:, 1:4], values[:, 4:])
    write_signals(tmp_path / "a.parquet", log)
    acceleration, angular_velocity = signal_names(log)
    assert acceleration[0] == "acceleration_x_m_s2"
    columns = Columns(time="time_s", acceleration=acceleration, angular_velocity=angular_velocity)
    back = load_file(tmp_path / "a.parquet", None, SENSOR.model_copy(update={"columns": columns}))
    for name in ("time_s", "acceleration_m_s2", "angular_velocity_rad_s"):
        np.testing.assert_array_equal(getattr(back, name), getattr(log, name))


def test_without_the_library(tmp_path, monkeypatch):
    path = write(tmp_path / "a.parquet")
    monkeypatch.setattr(parquet, "find_spec", lambda _: None)
    with pytest.raises(
        SettingsError, match=r"Parquet files need pyarrow; install it with: .*imustride\[research\]"
    ):
        load_file(path, None, SENSOR)
