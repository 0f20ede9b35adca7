import numpy as np
import pytest

from imustride.segmentation.averages import smoothed, steady_level, triangle


@pytest.mark.parametrize("width", [3, 4, 9, 21])
def test_a_moving_average_is_a_convolution(width):
    values = np.random.default_rng(1).normal(size=200)
    odd = width | 1
    expected = np.convolve(values, np.full(odd, 1 / odd), "valid")
    half = odd // 2
    np.testing.assert_allclose(smoothed(values, width)[half:-half], expected, atol=1e-12)


@pytest.mark.parametrize("average", [smoothed, triangle])
@pytest.mark.parametrize("width", [0, 1, 2, 5, 300])
def test_length_and_level_are_kept(average, width):
    found = average(np.full(50, 3.2), width)
    np.testing.assert_allclose(found, 3.2, atol=1e-9)
    assert found.shape == (50,)


def test_a_step_stays_where_it_is():
    step = np.repeat([0.0, 1.0], 50)
    for average in (smoothed, triangle):
        found = average(step, 11)
        assert np.argmax(found > 0.5) == pytest.approx(50, abs=1)
        np.testing.assert_allclose(found + found[::-1], 1.0, atol=1e-9)


def test_a_slow_level_is_followed_through_excursions():
    # A drift of 0.3 in 2000 samples; every fifth part of the time the signal is far away.
    place = np.arange(2000)
    drift = 0.3 * place / 2000
    far = (place % 250) < 50
    values = drift + np.where(far, 2.0, 0.0) + np.random.default_rng(2).normal(0, 0.05, 2000)
    level = steady_level(values, 300, 0.15, first=smoothed(values, 600))
    middle = slice(200, -200)
    np.testing.assert_allclose(level[middle], drift[middle], atol=0.05)
    assert np.abs(smoothed(values, 300)[middle] - drift[middle]).max() > 0.3
