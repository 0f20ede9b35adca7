"""Where in a contact the blade tips from its outside onto its inside edge.

The edge change ("Edge-flip") is one of the three events of a stance that Iizuka and Tomita 2024
(doi 10.7717/peerj.18102) marked by eye on the traces of skate sensors. That it shows as the roll crossing zero is our
reading.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.view import any_in

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.view import PushView

# An edge angle is known to about this (simulated, good to poor sensors; DEVELOPERS): what is less is no edge.
EDGE_SD_RAD = np.radians(1.0)
RATE_OVER_S = 0.02  # to either side of the change (common practice, no source)


@dataclass(frozen=True, eq=False, slots=True)
class EdgeChanges:
    """Edge change of each push.

    Parameters
    ----------
    time_s : ndarray, shape (k,)
        On the own clock [s]; NaN where the contact has none.
    rate_rad_s : ndarray, shape (k,)
        How fast the blade tips there [rad/s].
    seen : ndarray of bool, shape (k,)
        Whether the whole contact was measured, so that a change would have been found.
    """

    time_s: NDArray[np.float64]
    rate_rad_s: NDArray[np.float64]
    seen: NDArray[np.bool_]


def edge_changes(view: PushView) -> EdgeChanges:
    """Find the last change from the outside to the inside edge before the largest edge angle of each contact."""
    kinematics = view.kinematics
    unknown = ~kinematics.measured | kinematics.clipped[:, 1]
    edge = np.arcsin(np.clip(view.outward * kinematics.earth_from_segment[:, 2, 1], -1, 1))
    first, stop = view.samples(view.on_s, view.off_s)
    seen = (stop > first) & ~any_in(unknown, first, stop)
    time_s, rate = np.full(len(first), np.nan), np.full(len(first), np.nan)
    reach = max(round(RATE_OVER_S * kinematics.rate_hz), 1)
    for k in np.flatnonzero(seen):
        part = edge[first[k] : stop[k]]
        place = change_in(part)
        if place is not None:
            low, high = max(int(place) - reach, 0), min(int(place) + 1 + reach, len(part) - 1)
            rate[k] = (part[high] - part[low]) * kinematics.rate_hz / (high - low)
            time_s[k] = kinematics.start_s + (first[k] + place) / kinematics.rate_hz
    return EdgeChanges(time_s, rate, seen)


def change_in(edge_rad: NDArray[np.float64]) -> float | None:
    """Place of the change in the samples of a contact, between samples; None where there is none."""
    top = int(edge_rad.argmax())
    outside = np.flatnonzero(edge_rad[:top] < 0)
    if edge_rad[top] < EDGE_SD_RAD or not len(outside) or edge_rad[:top].min() > -EDGE_SD_RAD:
        return None
    last = int(outside[-1])
    return last + float(edge_rad[last] / (edge_rad[last] - edge_rad[last + 1]))
