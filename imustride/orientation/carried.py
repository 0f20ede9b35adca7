"""Whether the gyroscope carries gravity from one stance to the next."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

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
    up = [direction(recording.acceleration_m_s2[span].mean(axis=0)) for span in (first, last)]
    turns = mean_rate(gyro[start : end + 1] - bias, recording.rate_hz)[1:] / recording.rate_hz
    off, turned_back = (
        float(np.degrees(np.arccos(np.clip(up[0] @ product(sign * turns) @ up[1], -1.0, 1.0))))
        for sign in (1.0, -1.0)
    )
    return off, turned_back


def direction(vector: Floats) -> Floats:
    """Unit vector."""
    return np.asarray(vector / np.linalg.norm(vector))


def product(turns_rad: Floats) -> Floats:
    """Return the product of small turns in their order, shape (3, 3): first sensor axes from last ones."""
    angle = np.linalg.norm(turns_rad, axis=1)
    x, y, z = (turns_rad / np.maximum(angle, 1e-300)[:, None]).T
    zero = np.zeros_like(x)
    cross = np.array([[zero, -z, y], [z, zero, -x], [-y, x, zero]]).transpose(2, 0, 1)
    found = np.eye(3) + np.sin(angle)[:, None, None] * cross
    found += (1 - np.cos(angle))[:, None, None] * (cross @ cross)
    while len(found) > 1:  # pairs, then pairs of pairs: no loop over samples
        odd = found[-1:] if len(found) % 2 else found[:0]
        found = np.concatenate(
            (found[0 : len(found) - len(odd) : 2] @ found[1 : len(found) - len(odd) : 2], odd)
        )
    return np.asarray(found[0] if len(found) else np.eye(3))
