"""Attitudes of whole courses of motion as stacked matrices, earth (or lane) from segment."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.simulation.transitions import slope

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

NEXT = ((1, 2), (2, 0), (0, 1))  # the two axes a turn about x, y, z mixes


def turn(axis: int, angle_rad: Floats | float) -> Floats:
    """Return the turns about one axis (0 x, 1 y, 2 z) by angles of shape (n,) or a number, shape (n or 1, 3, 3)."""
    angle = np.atleast_1d(np.asarray(angle_rad, float))
    matrix = np.zeros((len(angle), 3, 3))
    i, j = NEXT[axis]
    matrix[:, axis, axis] = 1.0
    matrix[:, i, i] = matrix[:, j, j] = np.cos(angle)
    matrix[:, j, i] = np.sin(angle)
    matrix[:, i, j] = -matrix[:, j, i]
    return matrix


def yaw_pitch_roll(angles_rad: Floats) -> Floats:
    """Return Rz(yaw) Ry(pitch) Rx(roll) of angles (n, 3), shape (n, 3, 3)."""
    (cz, cy, cx), (sz, sy, sx) = np.cos(angles_rad).T, np.sin(angles_rad).T
    rows = [
        [cz * cy, cz * sy * sx - sz * cx, cz * sy * cx + sz * sx],
        [sz * cy, sz * sy * sx + cz * cx, sz * sy * cx - cz * sx],
        [-sy, cy * sx, cy * cx],
    ]
    return np.moveaxis(np.asarray(rows), 2, 0)


def apply(rotation: Floats, vector: Floats) -> Floats:
    """Turn vectors (n, 3) or (3,) of the segment into the outer frame, shape (n, 3)."""
    return np.asarray((rotation @ vector[..., None])[..., 0])


def apply_back(rotation: Floats, vector: Floats) -> Floats:
    """Turn vectors (n, 3) or (3,) of the outer frame into the segment, shape (n, 3)."""
    return np.asarray((np.swapaxes(rotation, -1, -2) @ vector[..., None])[..., 0])


def relative(proximal: Floats, distal: Floats) -> Floats:
    """Return ``proximal^T distal``, shape (n, 3, 3)."""
    return np.asarray(np.swapaxes(proximal, -1, -2) @ distal)


def flexion(proximal: Floats, distal: Floats) -> Floats:
    """Return the angle f of ``proximal^T distal = Ry(f) Rx(a) Rz(r)`` [rad], shape (n,)."""
    z = apply_back(proximal, distal[:, :, 2])
    return np.asarray(np.arctan2(z[:, 0], z[:, 2]))


def pitch(rotation: Floats) -> Floats:
    """Return how far the top of a segment tips forward [rad], shape (n,)."""
    return np.asarray(-np.arcsin(np.clip(rotation[:, 2, 0], -1, 1)))


def yaw(rotation: Floats) -> Floats:
    """Return the direction of the segment's x axis over the ground [rad], shape (n,), without jumps."""
    return np.unwrap(np.arctan2(rotation[:, 1, 0], rotation[:, 0, 0]))


def own_rate(rotation: Floats) -> Floats:
    """Return the angular velocity in segment axes [rad/s], shape (n, 3), by central differences on the grid."""
    change = slope(rotation)
    pairs = ((2, 1), (0, 2), (1, 0))
    return np.column_stack([np.einsum("ni,ni->n", rotation[:, :, i], change[:, :, j]) for i, j in pairs])
