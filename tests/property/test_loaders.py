"""Whatever the stamps and the file: samples come back, or one clear refusal does."""

import numpy as np
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from imustride.errors import FileFormatError, ImustrideError
from imustride.loaders import load_file, regularise
from imustride.recording import SensorLog
from imustride.session import Columns, Sensor, Units, read_session

NAMES = ("t", "ax", "ay", "az", "gx", "gy", "gz")
SENSOR = Sensor(
    place="left_skate",
    columns=Columns(time="t", acceleration=NAMES[1:4], angular_velocity=NAMES[4:]),
    units=Units(time="s", acceleration="m/s^2", angular_velocity="rad/s"),
)
RATES = st.floats(20, 4000)
COUNTS = st.integers(8, 400)


def signals(count, seed=0):
    values = np.random.default_rng(seed).normal(size=(2, count, 3))
    return values[0], values[1]


def log(stamps, seed=0):
    return SensorLog(SENSOR, np.array(stamps, dtype=float), *signals(len(stamps), seed), "left.csv")


def is_whole(recording) -> bool:
    """Every sample a number, every array as long as the others."""
    count = len(recording.measured)
    return (
        recording.acceleration_m_s2.shape == recording.angular_velocity_rad_s.shape == (count, 3)
        and recording.clipped.shape == (count, 2)
        and bool(
            np.isfinite(recording.acceleration_m_s2).all()
            and np.isfinite(recording.angular_velocity_rad_s).all()
        )
    )


@settings(deadline=None)
@given(COUNTS, RATES, st.floats(-1e6, 1e6))
def test_even_stamps_leave_samples_untouched(count, rate_hz, start_s):
    even = log(start_s + np.arange(count) / rate_hz)
    recording = regularise(even)
    np.testing.assert_array_equal(recording.acceleration_m_s2, even.acceleration_m_s2)
    np.testing.assert_array_equal(recording.angular_velocity_rad_s, even.angular_velocity_rad_s)
    np.testing.assert_allclose(recording.time_s, even.time_s, atol=1e-3 / rate_hz)


@settings(deadline=None)
@given(st.integers(64, 400), RATES, st.data())
def test_left_out_rows_are_missing_where_they_were(count, rate_hz, data):
    lost = data.draw(st.sets(st.integers(1, count - 2), max_size=count // 8))
    keep = np.setdiff1d(np.arange(count), sorted(lost))
    assume((np.diff(keep) == 1).mean() > 0.75)  # the usual step is one period
    whole = log(np.arange(count) / rate_hz)
    given_rows = SensorLog(
        SENSOR, whole.time_s[keep], whole.acceleration_m_s2[keep], whole.angular_velocity_rad_s[keep]
    )
    recording = regularise(given_rows)
    assert recording.quality.missing_samples == len(lost)
    np.testing.assert_array_equal(recording.acceleration_m_s2[keep], whole.acceleration_m_s2[keep])
    assert is_whole(recording)


@settings(deadline=None)
@given(COUNTS, RATES, st.integers(1, 5), st.integers(0, 10**6))
def test_rows_written_twice_change_nothing(count, rate_hz, copies, seed):
    whole = log(np.arange(count) / rate_hz)
    rows = np.sort(np.append(np.arange(count), np.random.default_rng(seed).integers(0, count, copies)))
    twice = SensorLog(
        SENSOR, whole.time_s[rows], whole.acceleration_m_s2[rows], whole.angular_velocity_rad_s[rows]
    )
    recording = regularise(twice)
    assert recording.quality.duplicates == copies
    np.testing.assert_array_equal(recording.acceleration_m_s2, whole.acceleration_m_s2)


TO_AND_FRO = np.array([-2.8e14, 1.04e16, *[2.6e15, 0.0] * 3, 2.6e15, 2.6e15, 2.6e15, 0.0])


@settings(deadline=None)
@example(TO_AND_FRO)
@given(arrays(float, st.integers(0, 60), elements=st.floats(allow_nan=True, allow_infinity=True, width=32)))
def test_any_stamps_give_a_whole_recording_or_a_refusal(stamps):
    try:
        recording = regularise(log(stamps))
    except ImustrideError as error:
        assert "\n" not in str(error)  # noqa: PT017 - either outcome is right
    else:
        assert is_whole(recording)


@settings(deadline=None)
@given(st.lists(st.floats(1e-5, 0.5), min_size=8, max_size=60), st.data())
def test_any_rising_stamps_and_missing_values_give_a_whole_recording(steps, data):
    stamps = np.cumsum(steps)
    acceleration, angular_velocity = signals(len(stamps))
    for values in (acceleration, angular_velocity):
        for row in data.draw(st.sets(st.integers(0, len(stamps) - 1))):
            values[row, row % 3] = np.nan
    try:
        recording = regularise(SensorLog(SENSOR, stamps, acceleration, angular_velocity))
    except ImustrideError:
        return
    assert is_whole(recording)
    span_s = np.ptp(stamps) + 4 * recording.quality.jitter_sd_s  # jitter may crowd the ends together
    assert recording.measured.sum() <= span_s * recording.rate_hz + 2


NUMBERS = st.floats(-1e6, 1e6).map(lambda value: f"{value:.6g}")


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.tuples(*[NUMBERS] * 7), min_size=1, max_size=20),
    st.sampled_from([",", ";", "\t", "|"]),
    st.booleans(),
)
def test_what_is_written_as_text_is_read_back(tmp_path_factory, rows, delimiter, has_comma):
    has_comma = has_comma and delimiter != ","
    text = "\n".join(delimiter.join(row) for row in (NAMES, *rows)) + "\n"
    path = tmp_path_factory.mktemp("text") / "left.csv"
    path.write_text(text.replace(".", ",") if has_comma else text)
    sensor = SENSOR.model_copy(update={"delimiter": delimiter, "decimal": "," if has_comma else None})
    read = load_file(path, None, sensor)
    wanted = np.array(rows, dtype=float)
    # pandas' fast conversion may be off in the last bit.
    np.testing.assert_allclose(
        np.column_stack((read.time_s, read.acceleration_m_s2, read.angular_velocity_rad_s)),
        wanted,
        rtol=4e-16,
    )


GOOD = (",".join(NAMES) + "\n" + "\n".join(f"{i / 100},1,2,9.8,{i},5,6" for i in range(12)) + "\n").encode()


@settings(deadline=None, max_examples=150)
@given(st.integers(0, len(GOOD)), st.integers(0, 12), st.binary(max_size=12))
def test_a_damaged_text_file_is_read_or_refused_in_one_line(tmp_path_factory, at, cut, new):
    path = tmp_path_factory.mktemp("text") / "left.csv"
    path.write_bytes(GOOD[:at] + new + GOOD[at + cut :])
    try:
        read = load_file(path, None, SENSOR)
    except FileFormatError as error:
        assert str(error).isprintable()  # noqa: PT017 - either outcome is right
    else:
        assert 1 <= len(read.time_s) <= 24


SESSION = b"""\
athlete = "A07"
date = 2026-10-03
surface = "ice"
protocol = "test"
columns = { time = "t", acceleration = ["ax", "ay", "az"], angular_velocity = ["gx", "gy", "gz"] }
units = { time = "ms", acceleration = "g", angular_velocity = "deg/s" }
[[sensors]]
place = "left_skate"
axes = ["+x", "+y", "+z"]
[[runs]]
name = "run-1"
files = { left_skate = "left.csv" }
"""


@settings(deadline=None, max_examples=150)
@given(st.integers(0, len(SESSION)), st.integers(0, 30), st.binary(max_size=12))
def test_a_damaged_session_file_is_read_or_refused_in_one_line(tmp_path_factory, at, cut, new):
    folder = tmp_path_factory.mktemp("session")
    (folder / "session.toml").write_bytes(SESSION[:at] + new + SESSION[at + cut :])
    try:
        session = read_session(folder)
    except FileFormatError as error:
        assert "\n" not in str(error)  # noqa: PT017 - either outcome is right
    else:
        assert session.runs[0].files
