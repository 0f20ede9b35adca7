"""What was found for the three axes of one kind, with its uncertainty."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration.file import Correction
from imustride.recording import own

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

PAIRS = ((0, 1), (0, 2), (1, 2))
NORMAL = 1.959964  # half of a 95 % interval in standard errors, normal distribution


@dataclass(frozen=True, eq=False, slots=True)
class Triad:
    """A correction and how well it is known.

    Parameters
    ----------
    correction : Correction
    bias_sd : ndarray, shape (3,)
        Standard errors, in the unit of the bias.
    matrix_sd : ndarray, shape (3, 3)
        Standard errors of the matrix.
    scale, scale_sd : ndarray, shape (3,)
        Response of each sensing axis to what lies along it: raw per SI unit, 1 where the sensor is true.
    skew_deg, skew_sd_deg : ndarray, shape (3,)
        How far the sensing axes xy, xz, yz are from square to each other [deg], positive where they lean
        towards each other; the turn of the triad as a whole has no part in it.
    interval : float
        Factor from a standard error to half of a 95 % interval (Student's t).
    """

    correction: Correction
    bias_sd: Floats
    matrix_sd: Floats
    scale: Floats
    scale_sd: Floats
    skew_deg: Floats
    skew_sd_deg: Floats
    interval: float

    def __post_init__(self) -> None:
        own(self.bias_sd, self.matrix_sd, self.scale, self.scale_sd, self.skew_deg, self.skew_sd_deg)


def triad(
    parameters: Floats,
    covariance: Floats,
    model: Callable[[Floats], tuple[Floats, Floats]],
    interval: float,
    *,
    from_counts: bool,
) -> Triad:
    """Work out a triad and its standard errors from the parameters of a fit.

    Parameters
    ----------
    parameters : ndarray, shape (p,)
        Of the size of one.
    covariance : ndarray, shape (p, p)
    model : function of the parameters
        Gives bias, shape (3,), and matrix, shape (3, 3).
    interval : float
    from_counts : bool

    Notes
    -----
    Errors are carried by central differences.
    """
    values = _all(*model(parameters))
    steps = 1e-5 * np.eye(len(parameters))
    jacobian = np.array(
        [(_all(*model(parameters + step)) - _all(*model(parameters - step))) / 2e-5 for step in steps]
    ).T
    sd = np.sqrt(np.einsum("ij,jk,ik->i", jacobian, covariance, jacobian))
    bias, matrix = model(parameters)
    return Triad(
        Correction(bias.copy(), matrix.copy(), from_counts=from_counts),
        sd[:3],
        sd[3:12].reshape(3, 3),
        values[12:15],
        sd[12:15],
        values[15:],
        sd[15:],
        interval,
    )


def response(matrix: Floats) -> tuple[Floats, Floats]:
    """Return the length of each sensing axis, and the skew of their pairs [deg], shapes (3,) and (3,)."""
    axes = np.linalg.inv(matrix)
    length = np.linalg.norm(axes, axis=1)
    unit = axes / length[:, np.newaxis]
    return length, np.degrees(np.arcsin([unit[i] @ unit[j] for i, j in PAIRS]))


def _all(bias: Floats, matrix: Floats) -> Floats:
    return np.concatenate((bias, matrix.ravel(), *response(matrix)))
