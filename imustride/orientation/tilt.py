"""Seeing and taking away a tilt of an attitude against gravity.

A tilt is held as the sine of half its angle in the level direction (x, y) in which "up" leans: half the
angle [rad] as long as it is small, and good to any angle.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.frames import matrix_from_quaternion

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


PIECE = 8192  # samples; what is worked on at a time stays in the processor's cache


@dataclass(frozen=True, eq=False, slots=True)
class Tilt:
    """Tilt over time: `half_sine` (k, 2) at `sample` (k,), lines between and constant beyond."""

    sample: Floats
    half_sine: Floats


def pieces(count: int, length: int = PIECE) -> Iterator[slice]:
    """Give the slices that cut `count` samples into pieces of a length."""
    for start in range(0, count, length):
        yield slice(start, min(start + length, count))


def mean_force(earth_from_sensor: Floats, force: Floats) -> Floats:
    """Return the mean specific force in the frame the quaternions lead to, (n, 4) and (n, 3) to (3,)."""
    turned = matrix_from_quaternion(earth_from_sensor) @ force[:, :, np.newaxis]
    return np.asarray(turned.mean(axis=0)[:, 0])


def lean(up: Floats) -> Floats:
    """Return the tilt of vectors that should point up, any length, shape (k, 3) to (k, 2).

    Notes
    -----
    ``sin(a / 2) = sin(a) / (2 cos(a / 2))`` and ``cos(a / 2)^2 = (1 + cos(a)) / 2``.
    """
    length = np.linalg.norm(up, axis=1)
    twice_cosine = np.sqrt(np.maximum(2 * (1 + up[:, 2] / length), 1e-6))
    return np.asarray(up[:, :2] / (length * twice_cosine)[:, np.newaxis])


def without_tilt(earth_from_sensor: Floats, tilt: Tilt) -> Floats:
    """Turn every attitude so that its tilt is gone.

    Parameters
    ----------
    earth_from_sensor : ndarray, shape (n, 4)
        Unit quaternions, scalar first.
    tilt : Tilt

    Returns
    -------
    ndarray, shape (n, 4)
        Turned about the level axis (y, -x); the heading stays.
    """
    turned = np.empty_like(earth_from_sensor)
    for piece in pieces(len(earth_from_sensor)):
        samples = np.arange(piece.start, piece.stop)
        x, y = (np.interp(samples, tilt.sample, axis) for axis in tilt.half_sine.T)
        # The turn that takes the lean away is (cos, y, -x, 0).
        scalar = np.sqrt(np.maximum(1 - x * x - y * y, 0.0))
        np.negative(x, out=x)
        a, b, c, d = earth_from_sensor[piece].T
        turned[piece, 0] = scalar * a - y * b - x * c
        turned[piece, 1] = scalar * b + y * a + x * d
        turned[piece, 2] = scalar * c - y * d + x * a
        turned[piece, 3] = scalar * d + y * c - x * b
    return turned
