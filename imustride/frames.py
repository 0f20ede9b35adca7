"""Rotations as matrices: right-handed, active on column vectors, named ``a_from_b``.

``v_a = a_from_b @ v_b`` and ``a_from_c = a_from_b @ b_from_c``. Angles in radians. Vectors keep
their frame in the name of the variable, never in a type.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import pieces

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def level_from_gravity(up: Floats) -> Floats:
    """Return the smallest rotation that brings a measured "up" onto z.

    Parameters
    ----------
    up : ndarray, shape (3,)
        Specific force at rest in sensor axes; any length but zero.

    Returns
    -------
    ndarray, shape (3, 3)
        ``level_from_sensor``: ``level_from_sensor @ up`` points along +z. Its heading is arbitrary;
        a sensor that hangs upside down is first turned about its x axis.

    """
    return np.asarray(matrix_from_quaternion(quaternion_from_gravity(up)[np.newaxis])[0])


def quaternion_from_gravity(up: Floats) -> Floats:
    """Return `level_from_gravity` as a unit quaternion, scalar first, shape (4,).

    Notes
    -----
    The half angle: ``(1 + up . z, up x z)``, normalised. Turning a hanging sensor about x first keeps
    the scalar part away from zero.
    """
    x, y, z = up / np.linalg.norm(up)
    quaternion = np.array([1 + z, y, -x, 0.0]) if z >= 0 else np.array([y, 1 - z, 0.0, x])
    return np.asarray(quaternion / np.linalg.norm(quaternion))


def axis_vector(word: str) -> Floats:
    """Return the unit vector of an axis such as ``-y``, shape (3,)."""
    vector = np.zeros(3)
    vector["xyz".index(word[1])] = 1.0 if word[0] == "+" else -1.0
    return vector


def about_z(angle_rad: float) -> Floats:
    """Return the turn by an angle [rad] about z, counter-clockwise seen from above, shape (3, 3)."""
    cos, sin = np.cos(angle_rad), np.sin(angle_rad)
    return np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])


def matrix_from_quaternion(quaternion: Floats) -> Floats:
    """Return the rotation matrices of unit quaternions.

    Parameters
    ----------
    quaternion : ndarray, shape (n, 4)
        Unit quaternions ``a_from_b``, scalar first.

    Returns
    -------
    ndarray, shape (n, 3, 3)
        ``a_from_b``; each element's course over the samples lies in one piece in memory.
    """
    matrices = empty_matrices(len(quaternion))
    for piece in pieces(len(quaternion)):
        _write_matrices(quaternion[piece], np.moveaxis(matrices[piece], 0, 2))
    return matrices


def _write_matrices(quaternion: Floats, matrix: Floats) -> None:
    """Write the matrices of quaternions, shape (n, 4), into an array of shape (3, 3, n)."""
    w, x, y, z = quaternion.T
    xx, yy, zz = x * x, y * y, z * z
    for axis, (one, two) in enumerate(((yy, zz), (xx, zz), (xx, yy))):
        matrix[axis, axis] = 1 - 2 * (one + two)
    for row, column, product, turn in ((0, 1, x * y, w * z), (2, 0, x * z, w * y), (1, 2, y * z, w * x)):
        matrix[row, column] = 2 * (product - turn)
        matrix[column, row] = 2 * (product + turn)


def turned_vectors(rotation: Floats, vectors: Floats) -> Floats:
    """Return ``rotation @ vector`` for every row, shape (3, 3) and (n, 3) to (n, 3), axes in one piece each."""
    out = np.empty((3, len(vectors)))
    for piece in pieces(len(vectors)):
        np.matmul(rotation, vectors.T[:, piece], out=out[:, piece])
    return out.T


def turned_matrices(left: Floats, matrices: Floats, right: Floats, out: Floats | None = None) -> Floats:
    """Return ``left @ matrix @ right`` for every matrix, shape (3, 3), (n, 3, 3) and (3, 3) to (n, 3, 3).

    Parameters
    ----------
    left, matrices, right : ndarray
    out : ndarray, shape (n, 3, 3), optional
        Where to write them, of the layout of `empty_matrices`.

    Notes
    -----
    One product with a matrix (9, 9) a piece, small enough not to be split among threads, which on a busy
    machine costs more than it gains.
    """
    both = np.kron(left, right.T)
    out = empty_matrices(len(matrices)) if out is None else out
    source, target = (np.moveaxis(array, 0, 2).reshape(9, -1) for array in (matrices, out))
    for piece in pieces(len(matrices), 2048):
        np.matmul(both, source[:, piece], out=target[:, piece])
    return out


def empty_matrices(count: int) -> Floats:
    """Return room for matrices, shape (count, 3, 3); an element's course lies in one piece in memory."""
    return np.moveaxis(np.empty((3, 3, count)), 2, 0)


def matrices_on(matrices: Floats, vectors: Floats) -> Floats:
    """Return ``matrix @ vector`` for every sample, shape (n, 3, 3) and (n, 3) to (n, 3), axes in one piece each."""
    x, y, z = vectors.T
    out = np.empty((3, len(vectors)))
    for axis, (a, b, c) in enumerate(np.moveaxis(matrices, 0, 2)):
        np.multiply(a, x, out=out[axis])
        out[axis] += b * y
        out[axis] += c * z
    return out.T


def products(left: Floats, right: Floats) -> Floats:
    """Return ``left @ right`` for every sample, shape (n, 3, 3) twice, in the layout of `empty_matrices`."""
    out = empty_matrices(len(left))
    for column in range(3):
        out[:, :, column] = matrices_on(left, right[:, :, column])
    return out


def quaternion_from_matrix(matrix: Floats) -> Floats:
    """Return the unit quaternions of rotation matrices.

    Parameters
    ----------
    matrix : ndarray, shape (n, 3, 3)
        Rotations ``a_from_b``.

    Returns
    -------
    ndarray, shape (n, 4)
        Scalar first; its largest component is positive.

    Notes
    -----
    Four times the products of every two components follow from the matrix; the row of the largest
    component is the quaternion up to its length, and never near zero (Shepperd 1978).
    """
    diagonal = np.diagonal(matrix, axis1=1, axis2=2)
    trace = diagonal.sum(axis=1)
    products = np.empty((len(matrix), 4, 4))
    products[:, 0, 0] = 1 + trace
    for i in range(3):
        j, k = (i + 1) % 3, (i + 2) % 3
        products[:, i + 1, i + 1] = 1 + 2 * diagonal[:, i] - trace
        products[:, 0, i + 1] = products[:, i + 1, 0] = matrix[:, k, j] - matrix[:, j, k]
        products[:, j + 1, k + 1] = products[:, k + 1, j + 1] = matrix[:, k, j] + matrix[:, j, k]
    largest = np.argmax(np.diagonal(products, axis1=1, axis2=2), axis=1)
    row = products[np.arange(len(matrix)), largest]
    return np.asarray(row / np.linalg.norm(row, axis=1, keepdims=True))


def left_product(quaternion: Floats) -> Floats:
    """Return the matrix that multiplies by a quaternion from the left, shape (4,) to (4, 4).

    ``rows @ left_product(q).T`` is the product ``q * row`` for every row, scalar first.
    """
    w, x, y, z = quaternion
    return np.array([[w, -x, -y, -z], [x, w, -z, y], [y, z, w, -x], [z, -y, x, w]])


def angle_between(a: Floats, b: Floats) -> Floats:
    """Return the angle [rad] between vectors along the last axis, exact also for small angles.

    Parameters
    ----------
    a, b : ndarray, shape (..., 3)
        Vectors in one frame, any length but zero.

    Notes
    -----
    ``atan2(|a x b|, a . b)``; an arc cosine would lose half the digits near zero.
    """
    sine = np.linalg.norm(np.cross(a, b), axis=-1)
    return np.asarray(np.arctan2(sine, np.sum(a * b, axis=-1)))


def about_vector(rotation_rad: Floats) -> Floats:
    """Return the turn about a vector by its length [rad], shape (3,) to (3, 3)."""
    return np.asarray(about_vectors(rotation_rad[np.newaxis])[0])


def about_vectors(rotation_rad: Floats) -> Floats:
    """Return the turns about vectors by their length [rad], shape (n, 3) to (n, 3, 3)."""
    half = 0.5 * np.linalg.norm(rotation_rad, axis=1, keepdims=True)
    # np.sinc(t) is sin(pi t) / (pi t): exact also for no turn at all.
    return matrix_from_quaternion(np.hstack((np.cos(half), 0.5 * np.sinc(half / np.pi) * rotation_rad)))
