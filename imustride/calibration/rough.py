"""A gyroscope's matrix roughly, from how gravity moves in sensor axes: where a fit starts, in any unit."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.calibration.file import Correction
    from imustride.recording import Recording

    Floats = NDArray[np.float64]

# Turns are compared with gravity over this time; the acceleration must stay this near to gravity, and turn
# by at least this angle [rad]. Common practice, no source.
PART_S = 0.2
NEAR = 0.15
SMALLEST_RAD = 0.03
FEWEST = 12
# From the first guess on, blocks that miss by more than this many times the usual miss are left out.
FAR = 3.0
PASSES = 4


def rough_gyroscope(
    recording: Recording, accelerometer: Correction, bias: Floats, gravity_m_s2: float
) -> Floats | None:
    """Find a gyroscope's matrix to some per cent.

    Parameters
    ----------
    recording : Recording
        Uncalibrated.
    accelerometer : Correction
    bias : ndarray, shape (3,)
        Of the angular velocity, in the recording's unit.
    gravity_m_s2 : float

    Returns
    -------
    ndarray, shape (3, 3), or None
        None where gravity hardly turned.

    Notes
    -----
    Gravity is fixed on Earth: in sensor axes it changes by itself times the turn (vector product), which is
    linear in the matrix. The hand's own acceleration is noise.
    """
    part = max(2, round(PART_S * recording.rate_hz))
    count = len(recording.measured) // part
    whole = recording.measured[: count * part].reshape(count, part).all(axis=1)
    raw = recording.acceleration_m_s2[: count * part]
    true = (raw - accelerometer.bias) @ accelerometer.matrix.T
    edge = max(1, part // 4)
    blocks = true.reshape(count, part, 3)
    before, after = blocks[:, :edge].mean(axis=1), blocks[:, -edge:].mean(axis=1)
    near = np.abs(np.linalg.norm(blocks, axis=2) / gravity_m_s2 - 1).max(axis=1) < NEAR
    up, change = (before + after) / 2 / gravity_m_s2, (after - before) / gravity_m_s2
    inner = slice(edge // 2, part - (edge - edge // 2))
    rates = recording.angular_velocity_rad_s[: count * part].reshape(count, part, 3)[:, inner]
    angle = (rates - bias).sum(axis=1) / recording.rate_hz
    kept = near & whole & (np.linalg.norm(change, axis=1) > SMALLEST_RAD)
    for _ in range(PASSES):
        if kept.sum() < FEWEST:
            return None
        rows = np.einsum("nij,nk->nijk", _cross(up[kept]), angle[kept]).reshape(-1, 9)
        found, _, rank, _ = np.linalg.lstsq(rows, change[kept].ravel(), rcond=1e-9)
        if rank < 9:
            return None
        miss = np.linalg.norm(
            np.einsum("nij,nj->ni", _cross(up), angle @ found.reshape(3, 3).T) - change, axis=1
        )
        kept = kept & (miss < FAR * np.median(miss[kept]))
    return np.asarray(found.reshape(3, 3))


def _cross(vectors: Floats) -> Floats:
    """Return the matrices that multiply by vectors from the left as vector products, shape (n, 3, 3)."""
    x, y, z = vectors.T
    zero = np.zeros_like(x)
    return np.moveaxis(np.array([[zero, -z, y], [z, zero, -x], [-y, x, zero]]), 2, 0)
