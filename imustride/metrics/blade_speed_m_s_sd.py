"""How fast the blade slides: standard deviation."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.stride_length_m_sd import SCALE_SD
from imustride.registry import Metric

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView


def measure(view: PushView) -> NDArray[np.float64]:
    """Return one value a push [m/s], shape (k,); empty without a path.

    A contact is nearly straight, so that its mean speed is as good as the way from blade-on to blade-off over
    the contact time. The error of that way, taken along it, is the difference of the two positions' errors. Errors of the
    two instants hardly matter: the mean stays as the contact is cut a little.
    """
    if view.path is None:
        return np.full(len(view.off_s), np.nan)
    place, root = (
        view.path.at(values, view.off_s) - view.path.at(values, view.on_s)
        for values in (view.path.position_m, view.path.root)
    )
    length = np.hypot(*place.T)[:, None]
    forward = np.divide(place, length, out=np.zeros_like(place), where=length > 0)
    along = np.linalg.norm(np.einsum("ki,kij->kj", forward, root), axis=1)
    return np.asarray(np.hypot(along, SCALE_SD * length[:, 0]) / (view.off_s - view.on_s))


METRIC = Metric(
    name="blade_speed_m_s_sd",
    unit="m/s",
    number=1,
    definition=(
        "standard deviation of blade_speed_m_s: of the way from blade-on to blade-off, taken along itself, over the "
        "contact time, and 1.5 % of it as in stride_length_m_sd"
    ),
    source="the covariance of the joint fit",
    symmetry="none",
    measure=measure,
)
