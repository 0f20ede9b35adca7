import numpy as np
import pytest

from imustride.calibration.stillness import Survey, find_still
from imustride.errors import SignalQualityError

RATE_HZ = 100.0
SI, COUNTS = (False, False), (True, True)


@pytest.fixture
def resting():
    """Five minutes on a table: gravity and a small bias, with the noise of a cheap sensor."""
    values = np.random.default_rng(4).normal(size=(30_000, 6)) * [0.02, 0.02, 0.02, 0.002, 0.002, 0.002]
    return values + np.array([0.1, -0.2, 9.8, 0.01, -0.005, 0.002])


def survey(values, block=7000):
    found = Survey(round(RATE_HZ))
    for start in range(0, len(values), block):
        found.add(values[start : start + block])
    return found


def still(values, in_counts=SI):
    return find_still(survey(values), RATE_HZ, in_counts=in_counts)


def refused(values, in_counts=SI):
    with pytest.raises(SignalQualityError) as caught:
        still(values, in_counts)
    text = str(caught.value)
    assert "\n" not in text
    assert "wanted" in text
    return text


def handled(values, part, size=0.5):
    values = values.copy()
    values[part] += np.random.default_rng(0).normal(size=values[part].shape) * size
    return values


def test_all_of_a_quiet_recording_is_used(resting):
    found = still(resting)
    assert (found.begin, found.end, found.notes) == (0, 30_000, ())


def test_handling_at_both_ends_is_left_out_and_told(resting):
    values = handled(handled(resting, slice(0, 850)), slice(29_150, None))
    found = still(values)
    assert 850 <= found.begin <= 1100
    assert 28_800 <= found.end <= 29_150
    assert "moved" in found.notes[0]


def test_a_knock_in_the_middle_leaves_the_longer_part(resting):
    found = still(handled(resting, slice(10_050, 10_070)))
    assert 10_000 < found.begin < 10_400
    assert found.end == 30_000


def test_a_sensor_laid_another_way_round_is_another_stretch(resting):
    values = resting.copy()
    values[12_000:, :3] = values[12_000:, [2, 1, 0]]
    found = still(values)
    assert found.begin >= 12_000


@pytest.mark.parametrize("in_counts", [SI, COUNTS])
def test_a_sensor_that_is_worn_is_refused(resting, in_counts):
    sway = 3 * np.sin(2 * np.pi * 1.3 * np.arange(len(resting)) / RATE_HZ)[:, None]
    swing = np.random.default_rng(2).uniform(0.2, 1, len(resting) // 300)
    values = resting + sway * np.repeat(swing, 300)[:, None]
    assert "moved: still for" in refused(values, in_counts)


def test_half_a_minute_is_too_short(resting):
    assert "30.0 s long" in refused(resting[:3000])


def test_a_steady_turntable_is_refused(resting):
    values = resting.copy()
    values[:, 5] += np.radians(90)
    assert "90 deg/s throughout" in refused(values)


def test_degrees_declared_as_radians_are_named(resting):
    values = resting.copy()
    values[:, 3:] *= np.degrees(1.0)
    assert "unit of the angular velocity" in refused(values)


def test_a_dead_axis_is_named(resting):
    values = resting.copy()
    values[:, 4] = 0.01
    assert "axis y of the gyroscope never changes" in refused(values)


def test_noise_lost_in_rounding_is_told(resting):
    values = resting.copy()
    values[:, 3:] = np.round(values[:, 3:], 2)
    values[::500, 3:] += 0.01
    assert "rounding" in still(values).notes[0]


def test_counts_are_as_good_as_units(resting):
    values = np.round(resting * [2000, 2000, 2000, 4000, 4000, 4000])
    found = still(handled(values, slice(0, 500), 1000), COUNTS)
    assert 500 <= found.begin <= 800


def test_pieces_of_any_length_give_the_same_windows(resting):
    np.testing.assert_allclose(survey(resting, 333).scatter, survey(resting, 30_000).scatter, rtol=1e-12)
    np.testing.assert_allclose(survey(resting, 333).means, survey(resting, 30_000).means, rtol=1e-12)
