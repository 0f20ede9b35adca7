import numpy as np
import pytest
from scipy.signal import savgol_coeffs

from imustride.metrics.smoothing import polynomial_smoother, slope


@pytest.mark.parametrize("order", [2, 3, 4])
@pytest.mark.parametrize("samples", [7, 9, 15, 31, 61])
def test_weights_are_those_of_scipy(samples, order):
    np.testing.assert_allclose(polynomial_smoother(samples, order), savgol_coeffs(samples, order), atol=1e-12)


@pytest.mark.parametrize("samples", [0, 1, 2, 3, 4, 6, 8, 30])
def test_any_wanted_length_gives_an_odd_window_that_holds_the_order(samples):
    weights = polynomial_smoother(samples, 4)
    assert len(weights) % 2 == 1
    assert max(samples, 5) <= len(weights) <= max(samples, 5) + 1


@pytest.mark.parametrize("samples", [5, 7, 15, 31])
def test_a_quartic_passes_unchanged(samples):
    time = np.linspace(-1, 1, 200)
    curve = 3 - 2 * time + time**2 - 4 * time**3 + 0.5 * time**4
    weights = polynomial_smoother(samples, 4)
    half = len(weights) // 2
    np.testing.assert_allclose(np.convolve(curve, weights, "valid"), curve[half:-half], atol=1e-9)


@pytest.mark.parametrize(("samples", "order"), [(9, 4), (15, 4), (7, 2)])
def test_slopes_are_those_of_scipy(samples, order):
    found = polynomial_smoother(samples, order, derivative=1)
    np.testing.assert_allclose(found, savgol_coeffs(samples, order, deriv=1, use="dot"), atol=1e-12)


def test_the_slope_of_a_quartic_is_exact_and_unknown_beside_a_hole():
    """By hand: 3 + 2 t - 5 t^2 + t^4 has the slope 2 - 10 t + 4 t^3; nine samples of 4 ms make a window."""
    time_s = np.arange(0, 1, 0.004)
    course = 3 + 2 * time_s - 5 * time_s**2 + time_s**4
    found = slope(course, 0.004)
    np.testing.assert_allclose(found[4:-4], (2 - 10 * time_s + 4 * time_s**3)[4:-4], atol=1e-9)
    assert np.isnan(found[[0, 3, -4, -1]]).all()
    course[100] = np.nan
    assert np.flatnonzero(np.isnan(slope(course, 0.004)[10:-10])).tolist() == list(range(86, 95))
