"""Text files read strictly: what pandas lets pass is refused with the line and the cell."""

import numpy as np
import pytest

from imustride.errors import FileFormatError
from imustride.loaders import load_file
from imustride.session import Columns, Units

HEADER = "t,ax,ay,az,gx,gy,gz"


@pytest.fixture
def lines(rows) -> list[str]:
    return [",".join(f"{value:g}" for value in row) for row in rows]


@pytest.fixture
def write(tmp_path):
    def _write(text: str, name: str = "left.csv", encoding: str = "utf-8"):
        folder = tmp_path / "run-1"
        folder.mkdir(exist_ok=True)
        (folder / name).write_bytes(text.encode(encoding))
        return folder / name

    return _write


def as_text(lines: list[str], header: str = HEADER) -> str:
    return "\n".join((header, *lines)) + "\n"


def assert_holds(log, rows, notes=()) -> None:
    np.testing.assert_array_equal(log.time_s, rows[:, 0])
    np.testing.assert_array_equal(log.acceleration_m_s2, rows[:, 1:4])
    np.testing.assert_array_equal(log.angular_velocity_rad_s, rows[:, 4:])
    assert log.notes == notes


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(lambda text: text, id="plain"),
        pytest.param(lambda text: "\ufeff" + text, id="byte order mark"),
        pytest.param(lambda text: text.replace("\n", "\r\n"), id="CRLF"),
        pytest.param(lambda text: text[:-1], id="no last line end"),
        pytest.param(lambda text: text + "\n\n", id="blank lines at the end"),
        pytest.param(lambda text: "\n" + text, id="blank line at the start"),
        pytest.param(lambda text: text.replace(",", " , "), id="blanks around"),
        pytest.param(lambda text: text.replace("ax", '"ax"'), id="quoted header"),
        pytest.param(lambda text: text.replace("\n", ",\n"), id="delimiter at every end"),
        pytest.param(
            lambda text: text.replace("\n", ",\n").replace("gz,", "gz"), id="delimiter at the end of rows"
        ),
    ],
)
def test_ways_to_write_the_same_table(write, sensor, rows, lines, change):
    assert_holds(load_file(write(change(as_text(lines))), None, sensor), rows)


def test_columns_are_found_by_name_in_any_order_among_others(write, sensor, rows, lines):
    shuffled = [",".join((*line.split(",")[::-1], "warm-up")) for line in lines]
    path = write(as_text(shuffled, "gz,gy,gx,az,ay,ax,t,remark"))
    assert_holds(load_file(path, None, sensor), rows)


@pytest.mark.parametrize(
    ("delimiter", "decimal", "name", "encoding"),
    [
        (";", ",", "a.csv", "utf-8"),
        ("\t", ".", "a.txt", "cp1252"),
        (None, ".", "a.tsv", "utf-8"),
        (";", ",", "b.csv", "utf-16"),
    ],
)
def test_delimiter_decimal_and_encoding_as_declared(
    write, declare, rows, lines, delimiter, decimal, name, encoding
):
    text = as_text(lines).replace(",", delimiter or "\t").replace(".", decimal)
    sensor = declare(delimiter=delimiter, decimal=decimal, encoding=encoding)
    assert_holds(load_file(write(text, name, encoding), None, sensor), rows)


@pytest.mark.parametrize(("unit", "factor"), [("s", 1.0), ("ms", 1e-3), ("us", 1e-6)])
def test_time_units(write, declare, rows, lines, unit, factor):
    sensor = declare(units=Units(time=unit, acceleration="m/s^2", angular_velocity="rad/s"))
    log = load_file(write(as_text(lines)), None, sensor)
    np.testing.assert_allclose(log.time_s, rows[:, 0] * factor, rtol=1e-15)


@pytest.mark.parametrize(("unit", "factor"), [("m/s^2", 1.0), ("g", 9.80665), ("counts", 1.0)])
def test_acceleration_units(write, declare, rows, lines, unit, factor):
    sensor = declare(units=Units(time="s", acceleration=unit, angular_velocity="rad/s"))
    log = load_file(write(as_text(lines)), None, sensor)
    np.testing.assert_allclose(log.acceleration_m_s2, rows[:, 1:4] * factor, rtol=1e-15)


@pytest.mark.parametrize(
    ("unit", "factor"), [("rad/s", 1.0), ("deg/s", 0.017453292519943295), ("counts", 1.0)]
)
def test_angular_velocity_units(write, declare, rows, lines, unit, factor):
    sensor = declare(units=Units(time="s", acceleration="g", angular_velocity=unit))
    log = load_file(write(as_text(lines)), None, sensor)
    np.testing.assert_allclose(log.angular_velocity_rad_s, rows[:, 4:] * factor, rtol=1e-15)


def test_a_file_without_time_is_counted_at_its_rate(write, declare, rows, lines):
    sensor = declare(
        columns=Columns(acceleration=("ax", "ay", "az"), angular_velocity=("gx", "gy", "gz")), rate_hz=100.0
    )
    assert_holds(load_file(write(as_text(lines)), None, sensor), rows)


@pytest.mark.parametrize("word", ["", "NaN", "nan", "NA", "n/a", "null", " ", "nan "])
def test_empty_cells_stay_missing(write, sensor, rows, lines, word):
    cells = lines[7].split(",")
    cells[2], cells[6] = word, word
    rows[7, [2, 6]] = np.nan
    assert_holds(load_file(write(as_text([*lines[:7], ",".join(cells), *lines[8:]])), None, sensor), rows)


@pytest.mark.parametrize("word", ["abc", "1.2.3", "0x10", "1_000", "--1", "True", "12:30:00", "1,5", "="])
def test_text_in_a_number_column_is_named_with_line_and_column(write, sensor, lines, word):
    cells = lines[7].split(",")
    cells[2] = f'"{word}"'
    path = write(as_text([*lines[:7], ",".join(cells), *lines[8:]]))
    with pytest.raises(
        FileFormatError, match=r"run-1/left.csv: line 9, column ay: found '.*'; wanted a number"
    ):
        load_file(path, None, sensor)


@pytest.mark.parametrize("word", ["1e300", "-2e6", "1e400", "-inf"])
def test_numbers_that_no_sensor_gives_are_missing_and_noted(write, sensor, rows, lines, word):
    cells = lines[7].split(",")
    cells[2], cells[6] = word, word
    rows[7, [2, 6]] = np.nan
    log = load_file(write(as_text([*lines[:7], ",".join(cells), *lines[8:]])), None, sensor)
    assert_holds(log, rows, ("2 numbers that no sensor gives taken as missing",))


def test_many_numbers_that_no_sensor_gives_are_another_unit(write, sensor, lines):
    huge = [",".join([*line.split(",")[:3], "5e6", *line.split(",")[4:]]) for line in lines]
    found = r"left\.csv: acceleration declared as m/s\^2: 20 of 60 numbers are beyond what any sensor gives; correct \[units\]"
    with pytest.raises(FileFormatError, match=found):
        load_file(write(as_text(huge)), None, sensor)


def test_text_in_a_column_nobody_reads_is_no_matter(write, sensor, rows, lines):
    path = write(as_text([f"{line},warm-up" for line in lines], f"{HEADER},remark"))
    assert_holds(load_file(path, None, sensor), rows)


def test_a_wrong_column_lists_what_the_file_has(write, sensor, lines):
    path = write(as_text(lines, "t,ax,ay,acc_z,gx,gy,gz"))
    with pytest.raises(
        FileFormatError, match="column az not found; the file has t, ax, ay, acc_z, gx, gy, gz; correct"
    ):
        load_file(path, None, sensor)


def test_a_column_that_comes_twice_is_refused(write, sensor, lines):
    path = write(as_text([f"{line},0" for line in lines], f"{HEADER},ax"))
    with pytest.raises(FileFormatError, match="column ax found twice"):
        load_file(path, None, sensor)


def test_another_delimiter_than_declared_is_named_in_the_message(write, declare, lines):
    path = write(as_text(lines).replace(",", ";"))
    with pytest.raises(FileFormatError, match="looks delimited by ';': correct or remove delimiter"):
        load_file(path, None, declare(delimiter=","))


@pytest.mark.parametrize(("declared", "written"), [(".", ","), (",", ".")])
def test_the_wrong_decimal_is_guessed_in_the_message(write, declare, lines, declared, written):
    path = write(as_text(lines).replace(",", ";").replace(".", written))
    with pytest.raises(FileFormatError, match=f"declare decimal = '{written}'"):
        load_file(path, None, declare(delimiter=";", decimal=declared))


def test_a_file_without_header_is_told_so(write, sensor, lines):
    with pytest.raises(FileFormatError, match="the first line holds numbers, wanted a header line"):
        load_file(write("\n".join(lines)), None, sensor)


@pytest.mark.parametrize("text", ["", "\n\n", "\ufeff"])
def test_an_empty_file(write, sensor, text):
    with pytest.raises(FileFormatError, match="empty file"):
        load_file(write(text), None, sensor)


def test_a_header_without_rows(write, sensor):
    with pytest.raises(FileFormatError, match="a header but no rows"):
        load_file(write(HEADER + "\n"), None, sensor)


def test_a_missing_file(tmp_path, sensor):
    with pytest.raises(FileFormatError, match=r"left\.csv: no such file; correct the path in session\.toml"):
        load_file(tmp_path / "left.csv", None, sensor)


def test_a_folder_where_a_file_should_be(tmp_path, sensor):
    (tmp_path / "left.csv").mkdir()
    with pytest.raises(FileFormatError, match=r"left\.csv: no file of samples but something else; correct"):
        load_file(tmp_path / "left.csv", None, sensor)


def test_an_unknown_ending_lists_the_known_ones(write, sensor):
    with pytest.raises(
        FileFormatError, match=r"no reader for files ending in '\.xyz'; wanted one of .*\.csv"
    ):
        load_file(write("x", "left.xyz"), None, sensor)


def test_a_group_in_a_text_file(write, sensor, lines):
    with pytest.raises(FileFormatError, match="a text file has no group; found '#/left'"):
        load_file(write(as_text(lines)), "/left", sensor)


def test_one_name_for_three_columns_is_for_hdf5(write, declare, lines):
    sensor = declare(columns=Columns(time="t", acceleration="acc", angular_velocity=("gx", "gy", "gz")))
    with pytest.raises(FileFormatError, match="found columns 'acc'; wanted three header names"):
        load_file(write(as_text(lines)), None, sensor)


@pytest.mark.parametrize(
    ("row", "fields"), [("0.07,1,2", 3), ("0.07,1,2,3,4,5,6,7", 8), ("0.07,1,20.08,1,2,3,4,5,6", 9)]
)
def test_a_row_with_another_number_of_fields(write, sensor, lines, row, fields):
    path = write(as_text([*lines[:7], row, *lines[8:]]))
    with pytest.raises(FileFormatError, match=f"line 9 has {fields} fields; wanted 7 as in the header"):
        load_file(path, None, sensor)


@pytest.mark.parametrize(
    "tail", ["0.2,1,2,3", "0.2,1,2,3\n", "0.2,1,2,3,4,5,-", "0.2,1,2,3,4,5,1e", "0.", "\0" * 5000, "# end\n"]
)
def test_half_a_line_at_the_end_is_left_out_and_said(write, sensor, rows, lines, tail):
    log = load_file(write(as_text(lines) + tail), None, sensor)
    np.testing.assert_array_equal(log.time_s, rows[:, 0])
    assert log.notes[0].startswith("the last line is cut off and was left out")


def test_a_lone_return_hides_no_row_before_half_a_line(write, sensor, lines):
    """Such a return ends a row for the parser and none for who counts line feeds."""
    with pytest.raises(FileFormatError, match="line 12 has 5 fields; wanted 7"):
        load_file(write(as_text([*lines[:9], lines[9] + "\r0.1,1,2,3,4"]) + "0."), None, sensor)
    with pytest.raises(FileFormatError, match="9 rows by their ends of line, 10 by their fields"):
        load_file(write(as_text([*lines[:8], lines[8] + "\r" + lines[9]]) + "0."), None, sensor)


def test_text_in_the_last_line_is_still_an_error_when_the_line_is_whole(write, sensor, lines):
    with pytest.raises(FileFormatError, match="line 22, column gz: found '-'"):
        load_file(write(as_text([*lines, "0.2,1,2,3,4,5,-"])), None, sensor)


def test_binary_data(write, sensor):
    with pytest.raises(FileFormatError, match="binary data"):
        load_file(write("\0\1\2\3" * 40), None, sensor)


def test_another_encoding_than_declared(write, sensor, declare, lines):
    with pytest.raises(FileFormatError, match="not utf-8 text"):
        load_file(write(as_text(lines, HEADER + ",Größe"), encoding="cp1252"), None, sensor)
    with pytest.raises(FileFormatError, match="not ascii text"):
        load_file(write(as_text(lines, HEADER + ",Größe")), None, declare(encoding="ascii"))


def test_names_from_the_file_are_printable_in_messages(write, sensor, lines):
    path = write(as_text(lines, HEADER.replace("az", "\x1b[2Jaz")))
    with pytest.raises(FileFormatError, match=r"the file has t, ax, ay, \?\[2Jaz"):
        load_file(path, None, sensor)


def test_arrays_of_a_log_are_read_only(write, sensor, lines):
    log = load_file(write(as_text(lines)), None, sensor)
    for values in (log.time_s, log.acceleration_m_s2, log.angular_velocity_rad_s):
        with pytest.raises(ValueError, match="read-only"):
            values[0] = 0


@pytest.mark.parametrize("extra", ["", ",remark"])
def test_a_field_too_many_does_not_make_up_for_one_too_few(write, sensor, lines, extra):
    lines = [line + extra for line in lines]
    lines[3] += ",1"
    lines[9] = lines[9].partition(",")[2]
    with pytest.raises(FileFormatError, match=r"line 5 has . fields; wanted"):
        load_file(write(as_text(lines, HEADER + extra)), None, sensor)
    lines[3], lines[9] = lines[9], lines[3]
    with pytest.raises(FileFormatError, match=r"line 5 has . fields; wanted"):
        load_file(write(as_text(lines, HEADER + extra)), None, sensor)


def test_empty_last_cells_are_no_short_rows(write, sensor, rows, lines):
    ends = [line.rpartition(",")[0] + "," for line in lines]
    rows[:, 6] = np.nan
    assert_holds(load_file(write(as_text(ends)), None, sensor), rows)
