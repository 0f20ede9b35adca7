"""Seeing and taking away a tilt of an attitude against gravity.

A tilt is the level part (x, y) of the unit vector that should point up and leans: the sine of the
angle, which stands for the angle [rad] as long as it is small.
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
    """Tilt over time: `value` (k, 2) at `sample` (k,), lines between and constant beyond."""

    sample: Floats
    value: Floats


def pieces(count: int, length: int = PIECE) -> Iterator[slice]:
    """Give the slices that cut `count` samples into pieces of a length."""
    for start in range(0, count, length):
        yield slice(start, min(start + length, count))


def mean_force(earth_from_sensor: Floats, force: Floats) -> Floats:
    """Return the mean specific force in the frame the quaternions lead to, (n, 4) and (n, 3) to (3,)."""
    turned = matrix_from_quaternion(earth_from_sensor) @ force[:, :, np.newaxis]
    return np.asarray(turned.mean(axis=0)[:, 0])


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
        Turned about the level axis (y, -x) by the arc sine of the tilt; the heading stays.
    """
    turned = np.empty_like(earth_from_sensor)
    for piece in pieces(len(earth_from_sensor)):
        samples = np.arange(piece.start, piece.stop)
        x, y = (np.interp(samples, tilt.sample, axis) for axis in tilt.value.T)
        # The half angle without a sine: (1 + cos, y, -x, 0), normalised.
        scalar = 1 + np.sqrt(np.maximum(1 - x * x - y * y, 0.0))
        unit = 1 / np.sqrt(2 * scalar)
        scalar *= unit
        x *= -unit
        y *= unit
        a, b, c, d = earth_from_sensor[piece].T
        turned[piece, 0] = scalar * a - y * b - x * c
        turned[piece, 1] = scalar * b + y * a + x * d
        turned[piece, 2] = scalar * c - y * d + x * a
        turned[piece, 3] = scalar * d + y * c - x * b
    return turned
