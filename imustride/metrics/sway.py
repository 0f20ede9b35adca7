"""What is left of a drifting place once its mean over the stride around each instant is taken off.

What repeats with the stride is left whole; what moves more slowly, a drift with it, is gone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def stride_mean(time_s: Floats, values: Floats, stride_s: Floats) -> Floats:
    """Mean over the stride around each instant, shape (n, k) to (n, k).

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Even times [s].
    values : ndarray, shape (n, k)
        Constant beyond both ends.
    stride_s : ndarray, shape (n,)
        Length of the stride around each instant [s].
    """
    step_s = time_s[1] - time_s[0]
    total = np.zeros_like(values)
    np.cumsum((values[1:] + values[:-1]) * (0.5 * step_s), axis=0, out=total[1:])
    begin, end = time_s - stride_s / 2, time_s + stride_s / 2
    out = np.empty_like(values)
    for k, column in enumerate(total.T):
        before = np.interp(begin, time_s, column) + np.minimum(begin - time_s[0], 0.0) * values[0, k]
        after = np.interp(end, time_s, column) + np.maximum(end - time_s[-1], 0.0) * values[-1, k]
        out[:, k] = (after - before) / stride_s
    return out


def about_mean(time_s: Floats, place_m: Floats, stride_s: Floats) -> Floats:
    """Return a place about its mean over the stride around each instant [m], shape (m,); NaN where not known."""
    known = np.flatnonzero(np.isfinite(place_m))
    if not len(known) or not np.isfinite(stride_s).all():
        return np.full(len(time_s), np.nan)
    held = np.interp(time_s, time_s[known], place_m[known])
    return np.asarray(place_m - stride_mean(time_s, held[:, None], stride_s)[:, 0])
