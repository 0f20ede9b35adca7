import numpy as np
import pytest
from scipy.signal import savgol_coeffs

from imustride.metrics.smoothing import polynomial_smoother


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
