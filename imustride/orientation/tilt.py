"""Seeing and taking away a tilt of an attitude against gravity.

A tilt is held as the sine of half its angle in the level direction (x, y) in which "up" leans: half the
angle [rad] as long as it is small, and good to any angle.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import pieces

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Tilt:
    """Tilt over time: `half_sine` (k, 2) at `sample` (k,), lines between and constant beyond."""

    sample: Floats
    half_sine: Floats


def rotated(quaternion: Floats, vectors: Floats) -> Floats:
    """Return vectors turned by unit quaternions, shape (n, 4) and (n, 3) to (n, 3).

    Notes
    -----
    ``v + w t + u x t`` with ``t = 2 u x v`` and (w, u) the quaternion: fewer products than by a matrix.
    """
    w, x, y, z = quaternion.T
    a, b, c = vectors.T
    out = np.empty((3, len(vectors)))
    p, q, r = 2 * (y * c - z * b), 2 * (z * a - x * c), 2 * (x * b - y * a)
    out[0] = a + w * p + (y * r - z * q)
    out[1] = b + w * q + (z * p - x * r)
    out[2] = c + w * r + (x * q - y * p)
    return out.T


def mean_force(earth_from_sensor: Floats, force: Floats) -> Floats:
    """Return the mean specific force in the frame the quaternions lead to, (n, 4) and (n, 3) to (3,)."""
    return np.asarray(rotated(earth_from_sensor, force).mean(axis=0))


def lean(up: Floats) -> Floats:
    """Return the tilt of vectors that should point up, any length, shape (k, 3) to (k, 2).

    Notes
    -----
    ``sin(a / 2) = sin(a) / (2 cos(a / 2))`` and ``cos(a / 2)^2 = (1 + cos(a)) / 2``.
    """
    length = np.linalg.norm(up, axis=1)
    twice_cosine = np.sqrt(np.maximum(2 * (1 + up[:, 2] / length), 1e-6))
    return np.asarray(up[:, :2] / (length * twice_cosine)[:, np.newaxis])


def take_away(tilt: Tilt, earth_from_sensor: Floats) -> None:
    """Turn every attitude, in place, about the level axis (y, -x) so that its tilt is gone; the heading stays.

    Parameters
    ----------
    tilt : Tilt
    earth_from_sensor : ndarray, shape (n, 4)
        Unit quaternions, scalar first.
    """
    for piece in pieces(len(earth_from_sensor)):
        samples = np.arange(piece.start, piece.stop)
        x, y = (np.interp(samples, tilt.sample, axis) for axis in tilt.half_sine.T)
        # The turn that takes the lean away is (cos, y, -x, 0).
        scalar = np.sqrt(np.maximum(1 - x * x - y * y, 0.0))
        a, b, c, d = earth_from_sensor[piece].T
        turned = (
            scalar * a - y * b + x * c,
            scalar * b + y * a - x * d,
            scalar * c - y * d - x * a,
            scalar * d + y * c + x * b,
        )
        for column, values in enumerate(turned):
            earth_from_sensor[piece, column] = values
