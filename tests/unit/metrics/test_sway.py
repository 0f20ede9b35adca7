"""Running means over strides."""

import numpy as np

from imustride.metrics.sway import about_mean, stride_mean

TIME_S = np.arange(0, 8, 0.005)
STRIDE_S = np.full(len(TIME_S), 0.8)
INSIDE = (TIME_S > 0.5) & (TIME_S < 7.5)


def test_the_mean_over_a_stride_of_what_repeats_with_it_is_nothing():
    wave = np.sin(2 * np.pi * TIME_S / 0.8)[:, None]
    assert np.abs(stride_mean(TIME_S, wave, STRIDE_S)[INSIDE]).max() < 1e-4


def test_the_mean_of_a_line_is_the_line():
    line = (3 + 2 * TIME_S)[:, None]
    np.testing.assert_allclose(stride_mean(TIME_S, line, STRIDE_S)[INSIDE], line[INSIDE], atol=1e-9)


def test_a_swing_is_left_where_a_drift_is_taken_off():
    """By hand: 0.1 m of swing once a stride on a drift of 2 m a second."""
    swing = 0.1 * np.sin(2 * np.pi * TIME_S / 0.8)
    np.testing.assert_allclose(
        about_mean(TIME_S, swing + 2 * TIME_S, STRIDE_S)[INSIDE], swing[INSIDE], atol=1e-4
    )


def test_unknown_places_stay_unknown():
    beside = np.ones(len(TIME_S))
    beside[200:220] = np.nan
    found = about_mean(TIME_S, beside, STRIDE_S)
    assert np.isnan(found[200:220]).all()
    np.testing.assert_allclose(np.delete(found, np.arange(200, 220)), 0.0, atol=1e-9)
