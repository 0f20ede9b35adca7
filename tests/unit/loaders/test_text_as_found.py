"""Text as labs and spreadsheets write it: found and told, and refused where it contradicts what is declared."""

import codecs

import numpy as np
import pytest

from imustride.errors import FileFormatError
from imustride.loaders import load_file
from imustride.loaders.blocks import load_blocks
from imustride.session import Columns, Units

NAMES = ("t", "ax", "ay", "az", "gx", "gy", "gz")


def text_of(rows, delimiter=",", decimal=".", header=NAMES, quote=""):
    cells = [[f"{quote}{value:.4f}{quote}".replace(".", decimal) for value in row] for row in rows]
    return "\n".join(delimiter.join(line) for line in (header, *cells)) + "\n"


@pytest.fixture
def write(tmp_path):
    def _write(text, encoding="utf-8", name="left.csv"):
        (tmp_path / name).write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
        return tmp_path / name

    return _write


def assert_read(log, rows, *notes):
    np.testing.assert_allclose(log.time_s, rows[:, 0], rtol=1e-12)
    np.testing.assert_array_equal(log.acceleration_m_s2, rows[:, 1:4])
    np.testing.assert_array_equal(log.angular_velocity_rad_s, rows[:, 4:])
    assert log.notes == notes


@pytest.mark.parametrize(
    ("delimiter", "decimal", "told"),
    [
        (";", ".", "delimiter ';'"),
        (";", ",", "delimiter ';', decimal comma"),
        ("\t", ".", "delimiter '\\t'"),
        ("\t", ",", "delimiter '\\t', decimal comma"),
    ],
)
def test_delimiter_and_decimal_are_found_and_told(write, sensor, rows, delimiter, decimal, told):
    log = load_file(write(text_of(rows, delimiter, decimal)), None, sensor)
    assert_read(log, rows, f"read as found: {told}")


def test_what_is_declared_needs_no_note(write, declare, rows):
    sensor = declare(delimiter=";", decimal=",")
    assert_read(load_file(write(text_of(rows, ";", ",")), None, sensor), rows)


def test_quoted_numbers_even_with_a_decimal_comma_between_commas(write, sensor, rows):
    assert_read(load_file(write(text_of(rows, quote='"')), None, sensor), rows)
    path = write(text_of(rows, ",", ",", quote='"'))
    assert_read(load_file(path, None, sensor), rows, "read as found: decimal comma")


def test_unquoted_decimal_commas_between_commas_are_refused(write, sensor, rows):
    with pytest.raises(FileFormatError, match=r"left\.csv: line 2 has 14 fields; wanted 7"):
        load_file(write(text_of(rows, ",", ",")), None, sensor)


@pytest.mark.parametrize(
    ("encoding", "mark", "told"),
    [
        ("utf-8", codecs.BOM_UTF8, ()),
        ("utf-16-le", codecs.BOM_UTF16_LE, ("read as found: UTF-16",)),
        ("utf-16-be", codecs.BOM_UTF16_BE, ("read as found: UTF-16",)),
        ("utf-16-le", b"", ("read as found: UTF-16-LE",)),
        ("utf-16-be", b"", ("read as found: UTF-16-BE",)),
        ("utf-32-le", codecs.BOM_UTF32_LE, ("read as found: UTF-32",)),
    ],
)
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_encodings_by_their_mark_or_their_zeros(write, sensor, rows, encoding, mark, told, end):
    raw = mark + text_of(rows).replace("\n", end).encode(encoding)
    assert_read(load_file(write(raw), None, sensor), rows, *told)


@pytest.mark.parametrize("cut", [1, 2, 3, 5, 8])
def test_utf_16_cut_off_in_its_last_line(write, sensor, rows, cut):
    raw = text_of(rows).rstrip("\n").encode("utf-16")
    log = load_file(write(raw[: len(raw) - 20 - cut]), None, sensor)
    assert len(log.time_s) == len(rows) - 1
    assert log.notes[1].startswith("the last line is cut off and was left out")


@pytest.mark.parametrize("declared", ["utf-8", "cp1252"])
def test_a_mark_that_contradicts_the_declared_encoding_is_refused(write, declare, rows, declared):
    with pytest.raises(FileFormatError, match=f"not {declared} text: it begins with the mark of UTF-16"):
        load_file(write(text_of(rows), "utf-16"), None, declare(encoding=declared))


def test_bytes_of_another_encoding_are_never_guessed(write, sensor, declare, rows):
    text = text_of(rows, header=("t", *NAMES[1:6], "gz")).replace("gx", "gx", 1) + ""
    above = "Gerät: Größe 2\n" + text
    with pytest.raises(FileFormatError, match=r"not utf-8 text .*; declare the file's encoding"):
        load_file(write(above, "cp1252"), None, sensor)
    log = load_file(write(above, "cp1252"), None, declare(encoding="cp1252"))
    assert_read(log, rows, "read as found: 1 line above the header")


ABOVE = 'Logger 7;firmware 2\n\nrate;200 Hz\n"a note; of t and ax"\n'


def test_lines_above_the_header_and_a_row_of_units_below(write, sensor, rows):
    text = text_of(rows, ";")
    head, _, rest = text.partition("\n")
    path = write(f"{ABOVE}{head}\ns;m/s²;m/s²;m/s²;[rad/s];[rad/s];[rad/s]\n{rest}")
    log = load_file(path, None, sensor)
    assert_read(
        log, rows, "read as found: delimiter ';', 4 lines above the header, a row of units below the header"
    )


def test_a_fault_below_lines_above_the_header_is_named_by_its_line(write, sensor, rows):
    lines = (ABOVE + text_of(rows, ";")).splitlines()
    lines[9] = lines[9].replace("0.0400", "x")
    assert "x" in lines[9]
    with pytest.raises(FileFormatError, match=r"left\.csv: line 10, column t: found 'x'; wanted a number"):
        load_file(write("\n".join(lines)), None, sensor)


WITH_UNITS = (
    "time [s]",
    "ax [m/s^2]",
    "ay (m/s2)",
    "az [m·s⁻²]",
    "gx [rad/s]",
    "gy (rad/sec)",
    "gz [rad s^-1]",
)


def test_units_in_the_header_are_no_part_of_the_name(write, declare, rows):
    path = write(text_of(rows, header=WITH_UNITS))
    bare = declare(columns=Columns(time="time", acceleration=NAMES[1:4], angular_velocity=NAMES[4:]))
    assert_read(load_file(path, None, bare), rows)
    exact = declare(
        columns=Columns(
            time="time [s]", acceleration=WITH_UNITS[1:4], angular_velocity=("gx", "gy", WITH_UNITS[6])
        )
    )
    assert_read(load_file(path, None, exact), rows)


@pytest.mark.parametrize(
    ("name", "unit", "said"),
    [
        ("ax", "g", "column ax (g): the header says 'g', declared is 'm/s^2'"),
        ("az", "mg", "column az (mg): the header says 'mg', declared is 'm/s^2'"),
        ("gy", "°/s", "column gy (°/s): the header says '°/s', declared is 'rad/s'"),
        ("gz", "dps", "column gz (dps): the header says 'dps', declared is 'rad/s'"),
        ("t", "ms", "column t (ms): the header says 'ms', declared is 's'"),
        ("t", "µs", "column t (µs): the header says 'µs', declared is 's'"),
    ],
)
def test_a_header_that_contradicts_a_declared_unit_is_refused(write, sensor, rows, name, unit, said):
    header = [f"{found} ({unit})" if found == name else found for found in NAMES]
    with pytest.raises(FileFormatError) as caught:
        load_file(write(text_of(rows, header=header)), None, sensor)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_row_of_units_that_contradicts_is_refused(write, sensor, rows):
    head, _, rest = text_of(rows).partition("\n")
    with pytest.raises(FileFormatError, match="column ay: the header says 'g', declared is 'm/s\\^2'"):
        load_file(write(f"{head}\ns,m/s^2,g,m/s^2,rad/s,rad/s,rad/s\n{rest}"), None, sensor)


def test_the_ending_of_a_time_column_is_a_unit_too(write, declare, rows):
    path = write(text_of(rows, header=("time_ms", *NAMES[1:])))
    columns = Columns(time="time_ms", acceleration=NAMES[1:4], angular_velocity=NAMES[4:])
    with pytest.raises(FileFormatError, match="column time_ms: the header says 'ms', declared is 's'"):
        load_file(path, None, declare(columns=columns))
    units = Units(time="ms", acceleration="m/s^2", angular_velocity="rad/s")
    log = load_file(path, None, declare(columns=columns, units=units))
    np.testing.assert_allclose(log.time_s, rows[:, 0] / 1000)


def test_a_unit_nobody_knows_is_left_alone(write, sensor, rows):
    header = ("t", "ax [IMU 1]", *NAMES[2:])
    assert_read(load_file(write(text_of(rows, header=header)), None, sensor), rows)


def test_a_counter_of_samples_keeps_what_was_lost(write, declare, rows):
    kept = np.delete(rows, [5, 6, 11], axis=0)
    counted = kept.copy()
    counted[:, 0] = 1000 + np.delete(np.arange(len(rows)), [5, 6, 11])
    units = Units(time="samples", acceleration="m/s^2", angular_velocity="rad/s")
    log = load_file(write(text_of(counted)), None, declare(units=units, rate_hz=200.0))
    np.testing.assert_allclose(log.time_s, counted[:, 0] / 200, rtol=1e-15)
    blocks = list(load_blocks(write(text_of(counted)), None, declare(units=units, rate_hz=200.0), rows=4))
    np.testing.assert_array_equal(np.concatenate([block.time_s for block in blocks]), log.time_s)


# Worked out by hand: 14 h 5 min 59.75 s = 50759.75 s, in steps of 10 ms, past the full minute.
FIRST_S = 50759.75
STAMPS = {
    "2026-10-03T14:05:{:06.3f}": ("date-time", "2026-10-03 00:00:00"),
    "2026-10-03 14:05:{:06.3f}Z": ("date-time", "2026-10-03 00:00:00"),
    "2026-10-03T16:05:{:06.3f}+02:00": ("date-time", "2026-10-03 00:00:00"),
    "03.10.2026 14:05:{:06.3f}": ("date-time day-first", "2026-10-03 00:00:00"),
    "3/10/2026 14:05:{:06.3f}": ("date-time day-first", "2026-10-03 00:00:00"),
    "10/03/2026 14:05:{:06.3f}": ("date-time month-first", "2026-10-03 00:00:00"),
    "14:05:{:06.3f}": ("date-time", "midnight"),
}


def stamped(rows, form):
    at = 59.75 + 0.01 * np.arange(len(rows))
    cells = [form.format(second).replace(":05:60", ":06:00") for second in at]
    lines = text_of(rows).splitlines()
    body = [f"{cell},{line.partition(',')[2]}" for cell, line in zip(cells, lines[1:], strict=True)]
    return "\n".join((lines[0], *body)) + "\n"


@pytest.mark.parametrize("form", STAMPS)
@pytest.mark.parametrize("decimal", [".", ","])
def test_date_times_are_seconds_of_their_day(write, declare, rows, form, decimal):
    unit, start = STAMPS[form]
    sensor = declare(units=Units(time=unit, acceleration="m/s^2", angular_velocity="rad/s"))
    text = stamped(rows, form)
    if decimal == ",":
        text = text.replace(",", ";").replace(".", ",") if "03." not in form else text.replace(",", ";")
    path = write(text)
    log = load_file(path, None, sensor)
    np.testing.assert_allclose(log.time_s, FIRST_S + 0.01 * np.arange(len(rows)), atol=1e-9)
    np.testing.assert_array_equal(log.acceleration_m_s2, rows[:, 1:4])
    assert log.notes[-1] == f"time stamps counted in seconds from {start}"
    blocks = list(load_blocks(path, None, sensor, rows=6))
    np.testing.assert_array_equal(np.concatenate([block.time_s for block in blocks]), log.time_s)


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ("2026-10-03T14:05:{:06.3f}", "declare units.time as 'date-time'"),
        ("13.10.2026 14:05:{:06.3f}", "declare units.time as 'date-time day-first'"),
        ("03.10.2026 14:05:{:06.3f}", "as 'date-time day-first' or 'date-time month-first'"),
    ],
)
def test_undeclared_date_times_are_told_and_day_and_month_never_guessed(write, sensor, rows, form, said):
    with pytest.raises(FileFormatError) as caught:
        load_file(write(stamped(rows, form)), None, sensor)
    assert said in str(caught.value)


@pytest.mark.parametrize(
    ("form", "unit"),
    [
        ("13.10.2026 14:05:{:06.3f}", "date-time month-first"),
        ("2026-10-03T14:05:{:06.3f}", "date-time day-first"),
        ("{:.3f}", "date-time"),
    ],
)
def test_stamps_of_another_order_than_declared_are_refused(write, declare, rows, form, unit):
    sensor = declare(units=Units(time=unit, acceleration="m/s^2", angular_velocity="rad/s"))
    with pytest.raises(FileFormatError, match="for the first time stamp; wanted a stamp as declared"):
        load_file(write(stamped(rows, form)), None, sensor)


@pytest.mark.parametrize("cell", ["31.02.2026 14:05:59", "x", "2026-10-03", "99:99:99"])
def test_a_stamp_far_down_that_is_none_is_named(write, declare, rows, cell):
    sensor = declare(units=Units(time="date-time day-first", acceleration="m/s^2", angular_velocity="rad/s"))
    lines = stamped(rows, "03.10.2026 14:05:{:06.3f}").splitlines()
    lines[9] = f"{cell},{lines[9].partition(',')[2]}"
    with pytest.raises(FileFormatError, match=rf"line 10, column t: found '{cell}'"):
        load_file(write("\n".join(lines) + "\n"), None, sensor)
    lines[9] = f",{lines[9].partition(',')[2]}"
    assert np.isnan(load_file(write("\n".join(lines) + "\n"), None, sensor).time_s[8])
