"""Recordings in Motion-BIDS: what its official validator lets pass, and what else can be wrong with two files."""

import numpy as np
import pytest

from imustride.errors import FileFormatError
from imustride.loaders import load_file
from imustride.loaders.blocks import load_blocks
from imustride.session import Columns, Sensor, Units

KINDS = (("ACCEL", "m/s^2"), ("GYRO", "rad/s"))
HEADER = "name\tcomponent\ttype\ttracked_point\tunits\n"
CHANNELS = [f"{kind}_{axis}\t{axis}\t{kind}\tleft_skate\t{unit}\n" for kind, unit in KINDS for axis in "xyz"]
CHANNELS.append("latency\tn/a\tLATENCY\tn/a\ts\n")
SENSOR = Sensor(
    place="left_skate",
    columns=Columns(
        time="latency",
        acceleration=("ACCEL_x", "ACCEL_y", "ACCEL_z"),
        angular_velocity=("GYRO_x", "GYRO_y", "GYRO_z"),
    ),
    units=Units(time="s", acceleration="m/s^2", angular_velocity="rad/s"),
)
ROWS = [f"0.1\t-0.2\t9.8\t{i}\t2e-3\t-.5\t{i / 100!r}\n" for i in range(40)]


@pytest.fixture
def motion(tmp_path):
    (tmp_path / "a_channels.tsv").write_text(HEADER + "".join(CHANNELS))
    path = tmp_path / "a_motion.tsv"
    path.write_text("".join(ROWS))
    return path


def refusal(path):
    with pytest.raises(FileFormatError) as caught:
        load_file(path, None, SENSOR)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_columns_are_those_of_the_channels(motion):
    log = load_file(motion, None, SENSOR)
    np.testing.assert_array_equal(log.time_s, np.arange(40) / 100)
    np.testing.assert_array_equal(log.acceleration_m_s2[7], [0.1, -0.2, 9.8])
    np.testing.assert_array_equal(log.angular_velocity_rad_s[7], [7, 0.002, -0.5])


def test_every_digit_comes_back(motion):
    rng = np.random.default_rng(8)
    table = rng.normal(size=(5000, 7)) * 10.0 ** rng.uniform(-9, 5, (5000, 7))
    motion.write_text("\n".join("\t".join(map(repr, row)) for row in table.tolist()))
    log = load_file(motion, None, SENSOR)
    np.testing.assert_array_equal(log.acceleration_m_s2, table[:, :3])
    np.testing.assert_array_equal(log.angular_velocity_rad_s, table[:, 3:6])
    np.testing.assert_array_equal(log.time_s, table[:, 6])


def test_blocks_are_the_whole(motion):
    blocks = list(load_blocks(motion, None, SENSOR, rows=16))
    assert [len(block.time_s) for block in blocks] == [16, 16, 8]
    whole = load_file(motion, None, SENSOR)
    np.testing.assert_array_equal(np.concatenate([block.time_s for block in blocks]), whole.time_s)


def test_missing_channels_table(motion):
    (motion.parent / "a_channels.tsv").unlink()
    assert "a_channels.tsv: no such file; wanted names and units of the columns of a_motion.tsv" in refusal(
        motion
    )


def test_header_row_in_the_data(motion):
    motion.write_text("\t".join(line.split("\t")[0] for line in CHANNELS) + "\n" + "".join(ROWS))
    assert "a_motion.tsv: line 1 holds text ('ACCEL_x'), a header" in refusal(motion)


@pytest.mark.parametrize("cell", ['"9.8"', '""9.8'])
def test_a_number_in_quotes_is_text(motion, cell):
    motion.write_text("".join([*ROWS[:3], ROWS[3].replace("9.8", cell), *ROWS[4:]]))
    assert f"line 4, channel ACCEL_z: found '{cell}'; wanted a number, or n/a" in refusal(motion)


def test_text_in_the_data(motion):
    motion.write_text("".join([*ROWS[:3], ROWS[3].replace("9.8", "lots"), *ROWS[4:]]))
    assert "line 4, channel ACCEL_z: found 'lots'; wanted a number, or n/a" in refusal(motion)


@pytest.mark.parametrize("cell", ["", "nan", "0x10", "1_000", "1,5", "NULL"])
def test_other_words_for_nothing_are_text(motion, cell):
    motion.write_text("".join([*ROWS[:3], ROWS[3].replace("9.8", cell), *ROWS[4:]]))
    assert f"line 4, channel ACCEL_z: found {cell!r}" in refusal(motion)


@pytest.mark.parametrize("unit", ["bananas", "m/s", "rad/s", ""])
def test_nonsense_units(motion, unit):
    channels = [CHANNELS[0].replace("m/s^2", unit), *CHANNELS[1:]]
    (motion.parent / "a_channels.tsv").write_text(HEADER + "".join(channels))
    assert (
        f"channel ACCEL_x, units: found {unit!r}; wanted one of m/s^2, g, counts for type ACCEL"
        in refusal(motion)
    )


def test_another_unit_than_declared(motion):
    channels = "".join(CHANNELS).replace("m/s^2", "g")
    (motion.parent / "a_channels.tsv").write_text(HEADER + channels)
    assert "channel ACCEL_x is in 'g' as its _channels.tsv says; declared is m/s^2" in refusal(motion)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda rows: [*rows[:5], "1\t2\n", *rows[6:]], "line 6 has 2 fields; wanted 7"),
        (
            lambda rows: [*rows[:5], rows[5].replace("\n", "\t1\n"), *rows[6:]],
            "line 6 has 8 fields; wanted 7",
        ),
        (lambda rows: [*rows[:-1], rows[-1][:12]], "line 40 has"),
        (lambda rows: [*rows[:5], "\n", *rows[5:]], "line 6 has"),
        (
            lambda rows: [*rows[:5], "\t".join("1" * 6) + "\n", rows[6].replace("\n", "\t1\n"), *rows[7:]],
            "line 6 has 6",
        ),
        (lambda _: [], "empty file (0 bytes)"),
        (lambda rows: [*rows[:5], rows[5].replace("9.8", "9\0"), *rows[6:]], "line 6, channel ACCEL_z"),
    ],
)
def test_rows_that_are_no_rows(motion, change, said):
    motion.write_text("".join(change(ROWS)))
    assert said in refusal(motion)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "column name, component, type, tracked_point, units not found"),
        (HEADER, "no channels"),
        (HEADER + CHANNELS[0] * 2, "channel 'ACCEL_x' named twice"),
        (HEADER + "ACCEL_x\tx\n", "row 2 has 2 fields; wanted 5"),
        (HEADER.replace("units", "unit") + CHANNELS[0], "column units not found"),
    ],
)
def test_a_table_of_channels_that_is_none(motion, content, said):
    (motion.parent / "a_channels.tsv").write_text(content)
    assert said in refusal(motion)


def test_a_table_of_channels_that_is_no_text(motion):
    (motion.parent / "a_channels.tsv").write_bytes(b"\xff\xfe\x00")
    assert "a_channels.tsv: not UTF-8 text at byte 0" in refusal(motion)


def test_a_text_file_has_no_group(motion):
    with pytest.raises(FileFormatError, match="has no group"):
        load_file(motion, "/left", SENSOR)
