"""Least-squares polynomial smoothing (Savitzky and Golay 1964, doi 10.1021/ac60214a047)."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


def polynomial_smoother(samples: int, order: int) -> NDArray[np.float64]:
    """Weights that give the centre value of a polynomial fitted to a window, shape (odd,).

    Parameters
    ----------
    samples : int
        Wanted window length; made odd and at least one more than needed for the order.
    order : int
        Degree of the polynomial.
    """
    length = max(samples | 1, order + 1 + (order % 2 == 0) * 0)
    length |= 1
    x = np.linspace(-1.0, 1.0, length)
    design = np.vander(x, order + 1, increasing=True)
    return np.asarray(np.linalg.pinv(design)[0])


def slope(course: NDArray[np.float64], step_s: float, window_s: float = 0.03) -> NDArray[np.float64]:
    """Rate of change of a course of even times by quartics fitted to windows, shape (m,); NaN where its window has one.

    Parameters
    ----------
    course : ndarray, shape (m,)
    step_s : float
    window_s : float
        Short: the extension of a knee has peaks of some 50 ms (simulated), and a quartic of 60 ms loses 5 % of them.
    """
    half = max(round(window_s / step_s / 2), 3)
    x = np.arange(-half, half + 1) * step_s
    weights = np.linalg.pinv(np.vander(x, 5, increasing=True))[1]
    out = np.full(len(course), np.nan)
    if len(course) >= len(x):
        out[half:-half] = np.convolve(course, weights[::-1], "valid")
    return out
