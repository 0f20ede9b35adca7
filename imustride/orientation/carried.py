"""Whether the gyroscope carries gravity from one stance to the next."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.frames import about_vectors, angle_between
from imustride.orientation.increments import mean_rate

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.recording import Recording

    Floats = NDArray[np.float64]


def gravity_carried_deg(
    recording: Recording, before_s: tuple[float, float], after_s: tuple[float, float]
) -> tuple[float, float]:
    """Compare gravity in a later stance with where the gyroscope turned it since an earlier one.

    Parameters
    ----------
    recording : Recording
    before_s, after_s : tuple of float
        The two stances, own clock [s].

    Returns
    -------
    off_deg, reversed_deg : float
        Angle between the two [deg]; the same with the sign of the angular velocity reversed.
    """
    first, last = (
        slice(recording.index(span[0]), max(recording.index(span[1]), recording.index(span[0]) + 1))
        for span in (before_s, after_s)
    )
    start, end = (int((span.start + span.stop) // 2) for span in (first, last))
    gyro = recording.angular_velocity_rad_s
    bias = 0.5 * (gyro[first].mean(axis=0) + gyro[last].mean(axis=0))
    up = [recording.acceleration_m_s2[span].mean(axis=0) for span in (first, last)]
    turns = mean_rate(gyro[start : end + 1] - bias, recording.rate_hz)[1:] / recording.rate_hz
    off, turned_back = (
        float(np.degrees(angle_between(up[0], product(sign * turns) @ up[1]))) for sign in (1.0, -1.0)
    )
    return off, turned_back


def product(turns_rad: Floats) -> Floats:
    """Return the product of small turns in their order, shape (3, 3): first sensor axes from last ones."""
    found = np.ascontiguousarray(about_vectors(turns_rad))
    while len(found) > 1:  # pairs, then pairs of pairs: no loop over samples
        odd = found[-1:] if len(found) % 2 else found[:0]
        found = np.concatenate(
            (found[0 : len(found) - len(odd) : 2] @ found[1 : len(found) - len(odd) : 2], odd)
        )
    return np.asarray(found[0] if len(found) else np.eye(3))
