"""Nine parameters of an accelerometer from the length of gravity in hand-set positions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import own

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# Row and column of the parameters behind the three of the bias: the upper triangle of the matrix.
ROWS, COLUMNS = np.array([0, 1, 2, 0, 0, 1]), np.array([0, 1, 2, 1, 2, 2])
PARAMETERS = 9
STEPS = 60
CONVERGED = 1e-13


@dataclass(frozen=True, eq=False, slots=True)
class NormFit:
    """``|matrix @ (x - bias)| = 1`` fitted to positions whose lengths are near one.

    Parameters
    ----------
    parameters : ndarray, shape (9,)
        Bias, diagonal of the matrix, and its entries xy, xz, yz; the rest of the matrix is zero.
    cofactors : ndarray, shape (9, 9)
        Covariance of the parameters for weights of one over the variance.
    residuals : ndarray, shape (n,)
        Length less one.
    leverage : ndarray, shape (n,)
        How much each position holds its own residual down, 0 to 1.
    """

    parameters: Floats
    cofactors: Floats
    residuals: Floats
    leverage: Floats

    def __post_init__(self) -> None:
        own(self.parameters, self.cofactors, self.residuals, self.leverage)

    @property
    def bias(self) -> Floats:
        """The first three parameters."""
        return self.parameters[:3]

    @property
    def matrix(self) -> Floats:
        """The other six as an upper triangular matrix, shape (3, 3)."""
        return triangular(self.parameters)


def triangular(parameters: Floats) -> Floats:
    """Return the matrix of the parameters, shape (3, 3)."""
    matrix = np.zeros((3, 3))
    matrix[ROWS, COLUMNS] = parameters[3:]
    return matrix


def fit_norm(positions: Floats, variances: Floats, square_sd: float = np.inf) -> NormFit | None:
    """Fit bias, scale and misalignment to the length of gravity.

    Parameters
    ----------
    positions : ndarray, shape (n, 3)
        Mean accelerations; shifted and scaled so that they lie near the unit sphere.
    variances : ndarray, shape (n,)
        Of their lengths, up to a common factor or as they are.
    square_sd : float
        What is known beforehand of the entries off the diagonal: zero, with this standard deviation [rad].

    Returns
    -------
    NormFit or None
        None where the positions leave a parameter open.

    Notes
    -----
    Gauss-Newton with damping (Marquardt). The length says nothing of how the triad as a whole is turned
    in its housing: an upper triangular matrix puts x of the sensor frame along the sensing axis x, and y
    into the plane of the sensing axes x and y.

    References
    ----------
    Tedaldi, Pretto, Menegatti 2014, ICRA, 3042-3049, equations 9 and 10; here the length itself is
    fitted instead of its square, which is the same near the solution.
    """
    known = np.zeros((3, PARAMETERS))
    known[np.arange(3), np.arange(6, 9)] = 1.0 / square_sd
    roots = 1 / np.sqrt(variances)
    parameters = np.r_[np.zeros(3), np.ones(3), np.zeros(3)]
    damping, (cost, jacobian, wanted) = 1e-3, _linear(parameters, positions, roots, known)
    for _ in range(STEPS):
        normal = jacobian.T @ jacobian
        step = _solved(normal + damping * np.diag(np.diag(normal)), -jacobian.T @ wanted)
        if step is None:
            return None
        tried = _linear(parameters + step, positions, roots, known)
        if not tried[0] <= cost:
            damping *= 10
            if damping > 1e12:
                break
            continue
        parameters, damping, (cost, jacobian, wanted) = parameters + step, damping / 10, tried
        if np.max(np.abs(step)) < CONVERGED:
            break
    cofactors = _inverse(jacobian.T @ jacobian)
    if cofactors is None:
        return None
    weighted = jacobian[: len(positions)]
    leverage = np.einsum("ij,jk,ik->i", weighted, cofactors, weighted)
    return NormFit(parameters, cofactors, wanted[: len(positions)] / roots, leverage)


def _linear(
    parameters: Floats, positions: Floats, roots: Floats, known: Floats
) -> tuple[float, Floats, Floats]:
    """Cost, weighted derivatives and weighted residuals."""
    matrix, shifted = triangular(parameters), positions - parameters[:3]
    turned = shifted @ matrix.T
    length = np.linalg.norm(turned, axis=1)
    up = turned / length[:, np.newaxis]
    jacobian = np.hstack((-up @ matrix, up[:, ROWS] * shifted[:, COLUMNS])) * roots[:, np.newaxis]
    residuals = np.concatenate(((length - 1) * roots, known @ parameters))
    return float(residuals @ residuals), np.vstack((jacobian, known)), residuals


def _solved(matrix: Floats, right: Floats) -> Floats | None:
    try:
        return np.asarray(np.linalg.solve(matrix, right))
    except np.linalg.LinAlgError:
        return None


def _inverse(matrix: Floats) -> Floats | None:
    """Invert a matrix of squares; None where it is singular to the numbers' precision."""
    scale = np.sqrt(np.diag(matrix))
    if not (scale > 0).all():
        return None
    values, vectors = np.linalg.eigh(matrix / np.outer(scale, scale))
    if values[0] < 1e-12:
        return None
    inverse = (vectors / values) @ vectors.T / np.outer(scale, scale)
    return np.asarray(inverse)


def sphere(positions: Floats) -> tuple[Floats, float] | None:
    """Return centre and radius of the sphere nearest to points, None where they lie in a plane.

    Notes
    -----
    ``|x|^2 = 2 c x + (r^2 - |c|^2)`` is linear in the centre and the bracket (Coope 1993).
    """
    middle = positions.mean(axis=0)
    points = positions - middle
    size = float(np.abs(points).max(initial=0.0))
    if len(points) < 4 or size == 0:
        return None
    points = points / size
    rows = np.column_stack((2 * points, np.ones(len(points))))
    found, _, rank, _ = np.linalg.lstsq(rows, (points**2).sum(axis=1), rcond=1e-6)
    if rank < 4:
        return None
    return middle + size * found[:3], size * float(np.sqrt(found[3] + found[:3] @ found[:3]))
