"""Least-squares polynomial smoothing (Savitzky and Golay 1964, doi 10.1021/ac60214a047)."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


def polynomial_smoother(samples: int, order: int, derivative: int = 0) -> NDArray[np.float64]:
    """Weights that give the centre value of a polynomial fitted to a window, or its slope, shape (odd,).

    Parameters
    ----------
    samples : int
        Wanted window length; made odd and at least one more than needed for the order.
    order : int
        Degree of the polynomial.
    derivative : {0, 1}
        Its value, or its slope a sample.
    """
    length = max(samples | 1, order + 1 + (order % 2 == 0) * 0)
    length |= 1
    x = np.linspace(-1.0, 1.0, length)
    design = np.vander(x, order + 1, increasing=True)
    return np.asarray(np.linalg.pinv(design)[derivative] * (2.0 / (length - 1)) ** derivative)


def slope(course: NDArray[np.float64], step_s: float, window_s: float = 0.036) -> NDArray[np.float64]:
    """Rate of change of a course of even times by quartics fitted to windows, shape (m,); NaN where its window has one.

    Parameters
    ----------
    course : ndarray, shape (m,)
    step_s : float
    window_s : float
        Short: the extension of a knee has peaks of some 50 ms (simulated), and a quartic of 60 ms loses 5 % of them.
    """
    weights = polynomial_smoother(round(window_s / step_s), 4, derivative=1) / step_s
    half = len(weights) // 2
    out = np.full(len(course), np.nan)
    if len(course) >= len(weights):
        out[half : len(course) - half] = np.convolve(course, weights[::-1], "valid")
    return out
