"""Distances from this blade to the other one, each at an instant of its own clock, and how well they are known."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def apart_m(
    view: PushView, own_s: NDArray[np.float64], other_s: NDArray[np.float64], axis: int
) -> NDArray[np.float64]:
    """Place of the other blade minus that of this one, along (0) or across (1) the lane [m], shape (k,).

    Parameters
    ----------
    view : PushView
    own_s, other_s : ndarray, shape (k,)
        Each on the clock of its own foot [s].
    axis : int
    """
    if view.path is None or view.other is None:
        return np.full(len(own_s), np.nan)
    here = view.path.at(view.path.position_m, own_s)
    there = view.other.path.at(view.other.path.position_m, other_s)
    return np.asarray((there - here)[:, axis])


def apart_sd_m(
    view: PushView, own_s: NDArray[np.float64], other_s: NDArray[np.float64], axis: int
) -> NDArray[np.float64]:
    """Standard deviation of `apart_m` [m], shape (k,): both blades come from one fit, so their errors hang together."""
    if view.path is None or view.other is None:
        return np.full(len(own_s), np.nan)
    here = view.path.at(view.path.root, own_s)
    there = view.other.path.at(view.other.path.root, other_s)
    return np.asarray(np.linalg.norm((there - here)[:, axis], axis=1))
