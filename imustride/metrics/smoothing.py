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
