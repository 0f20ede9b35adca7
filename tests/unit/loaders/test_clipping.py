import numpy as np
import pytest

from imustride.loaders import regularise
from imustride.loaders.clipping import clipped_samples
from imustride.recording import SensorLog
from imustride.session import Units

G = 9.80665


@pytest.fixture
def swing():
    """Acceleration to 25 g and angular velocity to 40 rad/s, never twice the same value in a row."""
    phase = np.linspace(0, 40, 2001)
    acceleration = np.column_stack((25 * G * np.sin(phase), 3 * np.cos(phase), G + np.sin(3 * phase)))
    angular_velocity = np.column_stack((np.sin(phase), 40 * np.cos(phase), np.sin(2 * phase)))
    return acceleration, angular_velocity


def log(sensor, acceleration, angular_velocity):
    stamps = np.arange(len(acceleration)) / 500
    return SensorLog(sensor, stamps, np.array(acceleration), np.array(angular_velocity))


def test_a_free_signal_is_not_clipped(sensor, swing):
    assert not clipped_samples(log(sensor, *swing)).any()


@pytest.mark.parametrize("declared", [16.0, None])
@pytest.mark.parametrize("last_code", [1.0, 32767 / 32768])
def test_acceleration_at_the_end_of_its_range(declare, swing, declared, last_code):
    acceleration, angular_velocity = swing
    end = 16 * G * last_code
    over = np.abs(acceleration[:, 0]) >= (end if declared is None else 0.998 * 16 * G)
    given = log(declare(acceleration_range_g=declared), np.clip(acceleration, -end, end), angular_velocity)
    found = clipped_samples(given)
    np.testing.assert_array_equal(found[:, 0], over)
    assert not found[:, 1].any()


@pytest.mark.parametrize("declared", [2000.0, None])
def test_angular_velocity_at_the_end_of_its_range(declare, swing, declared):
    acceleration, angular_velocity = swing
    end = np.radians(2000)
    over = np.abs(angular_velocity[:, 1]) >= (end if declared is None else 0.998 * end)
    given = log(
        declare(angular_velocity_range_deg_s=declared), acceleration, np.clip(angular_velocity, -end, end)
    )
    found = clipped_samples(given)
    np.testing.assert_array_equal(found[:, 1], over)
    assert not found[:, 0].any()
    assert regularise(given).quality.clipped_samples == over.sum()


def test_one_sample_at_a_declared_range_is_clipped(declare, swing):
    acceleration, angular_velocity = swing
    acceleration[700, 2] = -30 * G
    found = clipped_samples(log(declare(acceleration_range_g=30), acceleration, angular_velocity))
    assert np.argwhere(found).tolist() == [[700, 0]]


def test_two_equal_peaks_in_a_row_are_chance(sensor, swing):
    acceleration, angular_velocity = swing
    acceleration[[700, 701], 0] = 26 * G
    assert not clipped_samples(log(sensor, acceleration, angular_velocity)).any()


def test_repeated_values_at_rest_are_resolution(sensor):
    rng = np.random.default_rng(3)
    coarse = np.round(rng.normal(0, 0.02, (2000, 3)) / 0.05) * 0.05
    assert not clipped_samples(log(sensor, coarse + np.array([0, 0, G]), coarse)).any()


def test_the_round_top_of_a_slow_swing_in_coarse_steps_is_not_clipped(sensor):
    phase = np.linspace(0, 20, 8001)
    for amplitude in np.linspace(3.0, 4.0, 40):  # any part of a step
        turning = np.column_stack([np.round(amplitude * np.sin(phase) / 0.01) * 0.01] * 3)
        assert not clipped_samples(log(sensor, np.ones((8001, 3)), turning)).any()


def test_counts_stand_out_from_their_own_spread(declare, swing):
    counts = Units(time="s", acceleration="counts", angular_velocity="counts")
    acceleration = np.clip(np.rint(swing[0] * 200), -32768, 32767)
    acceleration[:1500] = acceleration[:1500] % 3  # mostly at rest
    over = (acceleration[:, 0] == 32767) | (acceleration[:, 0] == -32768)
    assert over.sum() > 3
    found = clipped_samples(log(declare(units=counts), acceleration, np.zeros((2001, 3))))
    np.testing.assert_array_equal(found[:, 0], over)


def test_missing_values_do_not_hide_clipping(declare, swing):
    acceleration, angular_velocity = swing
    acceleration = np.clip(acceleration, -16 * G, 16 * G)
    over = np.abs(acceleration[:, 0]) == 16 * G
    acceleration[5] = np.nan
    found = clipped_samples(log(declare(), acceleration, angular_velocity))
    np.testing.assert_array_equal(found[:, 0], over)


def test_between_samples_both_neighbours_of_a_clipped_one_are_flagged(declare, swing):
    rng = np.random.default_rng(4)
    acceleration, angular_velocity = swing
    acceleration[700, 0] = 30 * G
    stamps = np.arange(2001) / 500 + rng.uniform(-4e-4, 4e-4, 2001)
    given = SensorLog(declare(acceleration_range_g=30), stamps, acceleration, angular_velocity)
    flagged = np.flatnonzero(regularise(given).clipped[:, 0])
    assert 1 <= len(flagged) <= 2
    assert np.abs(flagged - 700).max() <= 1
