import numpy as np
import pytest

from imustride.errors import SignalQualityError
from imustride.loaders.counting import Counting
from imustride.recording import SensorLog
from imustride.session import Columns, Sensor

SENSOR = Sensor(place="trunk", columns=Columns(time="t", acceleration="a", angular_velocity="g"))
COUNT, RATE_HZ, BLOCK = 3000, 200.0, 400


@pytest.fixture
def values():
    return np.random.default_rng(8).normal(size=(COUNT, 6))


def logs(time_s, values, block=BLOCK):
    for start in range(0, len(time_s), block):
        part = slice(start, start + block)
        yield SensorLog(
            SENSOR, time_s[part].copy(), values[part, :3].copy(), values[part, 3:].copy(), "a/log.csv"
        )


def counted(time_s, values):
    counting = Counting()
    return counting, np.concatenate(list(counting.blocks(logs(time_s, values))))


def test_samples_pass_through_untouched(values):
    time_s = 100 + np.arange(COUNT) / RATE_HZ
    counting, found = counted(time_s, values)
    np.testing.assert_array_equal(found, values)
    assert (counting.count, counting.lost) == (COUNT, 0)
    assert counting.rate_hz == pytest.approx(RATE_HZ, rel=1e-9)


def test_stamps_that_jitter_or_come_in_packets_change_nothing(values):
    rng = np.random.default_rng(1)
    time_s = np.arange(COUNT) / RATE_HZ
    for stamps in (time_s + rng.normal(0, 0.0003, COUNT), np.floor(time_s * 50) / 50, np.round(time_s, 2)):
        counting, found = counted(stamps, values)
        np.testing.assert_array_equal(found, values)
        assert counting.rate_hz == pytest.approx(RATE_HZ, rel=3e-3)


@pytest.mark.parametrize("row", [17, BLOCK - 1, BLOCK, BLOCK + 1, 2 * BLOCK + 5])
def test_a_lost_sample_is_filled_in_wherever_it_is(values, row):
    time_s = np.arange(COUNT) / RATE_HZ
    counting, found = counted(np.delete(time_s, row), np.delete(values, row, axis=0))
    assert (counting.count, counting.lost) == (COUNT, 1)
    np.testing.assert_allclose(found[row], 0.5 * (values[row - 1] + values[row + 1]), rtol=1e-9)
    np.testing.assert_array_equal(np.delete(found, row, axis=0), np.delete(values, row, axis=0))


def test_an_empty_cell_counts_as_lost(values):
    values[[BLOCK - 1, 1000], [0, 5]] = np.nan
    counting, found = counted(np.arange(COUNT) / RATE_HZ, values)
    assert (counting.count, counting.lost) == (COUNT, 2)
    assert np.isfinite(found).all()


def test_a_row_written_twice_counts_once(values):
    time_s = np.arange(COUNT) / RATE_HZ
    counting, found = counted(
        np.insert(time_s, 700, time_s[700]), np.insert(values, 700, values[700], axis=0)
    )
    np.testing.assert_array_equal(found, values)
    assert counting.count == COUNT


@pytest.mark.parametrize("row", [300, 2 * BLOCK])
def test_a_hole_is_refused_with_its_time(values, row):
    gone = slice(row, row + 40)
    time_s = np.arange(COUNT) / RATE_HZ
    with pytest.raises(
        SignalQualityError, match=rf"log.csv: 40 samples are missing from {(row - 1) / RATE_HZ:.3f}"
    ):
        counted(np.delete(time_s, gone), np.delete(values, gone, axis=0))


def test_time_that_runs_backwards_is_refused(values):
    time_s = np.arange(COUNT) / RATE_HZ
    time_s[1500:] -= 5
    with pytest.raises(SignalQualityError, match="backwards"):
        counted(time_s, values)


def test_a_file_without_time_is_counted_by_its_rows(values):
    sensor = SENSOR.model_copy(
        update={"columns": Columns(acceleration="a", angular_velocity="g"), "rate_hz": 50}
    )
    counting = Counting()
    log = SensorLog(sensor, np.arange(COUNT) / 50, values[:, :3].copy(), values[:, 3:].copy())
    assert len(next(counting.blocks([log]))) == COUNT
    assert counting.rate_hz == pytest.approx(50)
