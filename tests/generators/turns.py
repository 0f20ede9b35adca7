"""Rotations over time and what a sensor that moves with them feels."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from tests.generators.ice import GRAVITY_M_S2
from tests.generators.shapes import derivative

if TYPE_CHECKING:
    from tests.generators.shapes import Array


def about(axis: int, angle_rad: Array) -> Array:
    """Rotations by angles (n,) about x, y or z (0, 1, 2), shape (n, 3, 3)."""
    j, k = (axis + 1) % 3, (axis + 2) % 3
    turn = np.zeros((len(angle_rad), 3, 3))
    turn[:, axis, axis] = 1.0
    turn[:, j, j] = turn[:, k, k] = np.cos(angle_rad)
    turn[:, k, j] = np.sin(angle_rad)
    turn[:, j, k] = -turn[:, k, j]
    return turn


def of_columns(y: Array, z: Array) -> Array:
    """Rotations (n, 3, 3) whose second and third axes are the unit vectors given, at right angles."""
    return np.stack([np.cross(y, z), y, z], axis=2)


def unit(vector: Array) -> Array:
    """Vectors (n, 3) scaled to length one."""
    scaled: Array = vector / np.linalg.norm(vector, axis=1)[:, None]
    return scaled


def body_rate(turn: Array) -> Array:
    """Angular velocity in the turning axes [rad/s], shape (n, 3), of rotations on the fine grid."""
    change = derivative(turn)
    pairs = ((2, 1), (0, 2), (1, 0))
    return np.column_stack([np.sum(turn[:, :, i] * change[:, :, j], axis=1) for i, j in pairs])


def specific_force(turn: Array, place_m: Array) -> Array:
    """Specific force in the turning axes [m/s^2] at a place (n, 3) on the fine grid."""
    pull = derivative(derivative(place_m)) + np.array([0.0, 0.0, GRAVITY_M_S2])
    force: Array = np.matmul(pull[:, None, :], turn)[:, 0, :]
    return force


def flexion(proximal: Array, distal: Array) -> Array:
    """Angle f [rad] of ``proximal^T distal = R_y(f) R_x(a) R_z(r)``, shape (n,)."""
    z = distal[:, :, 2]
    forward, up = np.sum(proximal[:, :, 0] * z, axis=1), np.sum(proximal[:, :, 2] * z, axis=1)
    angle: Array = np.arctan2(forward, up)
    return angle
