"""Twelve parameters of an accelerometer set on the six faces of its housing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration.coverage import UP
from imustride.recording import own

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# A position belongs to a face from which it is tilted by no more than this [cosine of 12 degrees].
ON_FACE = np.cos(np.radians(12.0))


@dataclass(frozen=True, eq=False, slots=True)
class FacesFit:
    """``raw = response @ up + bias`` for gravity of length one along the axes of the housing.

    Parameters
    ----------
    bias : ndarray, shape (3,)
    response : ndarray, shape (3, 3)
    face : ndarray of int, shape (n,)
        Which of `coverage.FACES` each position lies on, -1 for none.
    tilt_rad : float
        Standard deviation of the faces' tilt against each other [rad]: what the table and the hand added.
    """

    bias: Floats
    response: Floats
    face: NDArray[np.intp]
    tilt_rad: float

    def __post_init__(self) -> None:
        own(self.bias, self.response, self.face)


def fit_faces(positions: Floats, up: Floats) -> FacesFit | None:
    """Find bias and response from positions on all six faces.

    Parameters
    ----------
    positions : ndarray, shape (n, 3)
        Mean accelerations, scaled to gravity.
    up : ndarray, shape (n, 3)
        Roughly where gravity points: unit vectors.

    Returns
    -------
    FacesFit or None
        None where a face has no position.

    Notes
    -----
    Along its own axis the cosine hides a small tilt, so bias and scale come from the two positions of that
    axis alone; the other entries come from the difference of opposite faces. What the sum of two opposite
    faces shows of a third axis is its bias again: its departures are the tilt.

    References
    ----------
    Ferraris, Grimaldi, Parvis 1995, Sensors and Materials 7(5):311-330; IEEE Std 1293, multiposition test.
    """
    cosines = up @ UP.T
    face = np.where(cosines.max(axis=1) >= ON_FACE, cosines.argmax(axis=1), -1)
    if len(set(face[face >= 0])) < len(UP):
        return None
    means = np.array([positions[face == i].mean(axis=0) for i in range(len(UP))])
    above, below = means[0::2], means[1::2]
    middle, response = (above + below) / 2, ((above - below) / 2).T
    bias = np.diag(middle).copy()
    # Six departures, each the mean of two positions: hence the root of two.
    other = (middle - bias)[~np.eye(3, dtype=bool)]
    return FacesFit(bias, response, face, float(np.sqrt(2 * np.mean(other**2))))
