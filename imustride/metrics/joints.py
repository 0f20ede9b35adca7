"""Angles of segments and joints.

Joint angles are those of Grood and Suntay 1983 (J. Biomech. Eng. 105:136-144), which the International Society of
Biomechanics recommends (Wu et al. 2002, J. Biomech. 35:543-548): flexion about the sideways axis of the proximal
segment, rotation about the long axis of the distal one, the third about the axis across both.

===========================  =========================  ====================================
ours                         ISB                        sign here
===========================  =========================  ====================================
x forward                    X anterior
y left                       -Z (Z points to the right)
z up                         Y superior
knee flexion                 about Z of the thigh       positive bent (ISB: negative on knees)
ankle: shank to skate        about Z of the shank       positive with the shin forward
===========================  =========================  ====================================
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def flexion_rad(proximal: Floats, distal: Floats) -> Floats:
    """Turn of the distal against the proximal segment about the proximal y axis [rad], shape (n,).

    Parameters
    ----------
    proximal, distal : ndarray, shape (n, 3, 3)
        Attitudes in one frame; segments x forward, y left, z up.

    Returns
    -------
    ndarray, shape (n,)
        Positive where the top of the distal segment tips forward against the proximal one.

    Notes
    -----
    ``proximal^T distal = R_y(flexion) R_x(abduction) R_z(rotation)``, whose third column is
    ``(sin f cos a, -sin a, cos f cos a)``.
    """
    z = distal[:, :, 2]
    along = np.einsum("nij,ni->nj", proximal, z)
    return np.asarray(np.arctan2(along[:, 0], along[:, 2]))


def pitch_rad(attitude: Floats) -> Floats:
    """Forward tip of a segment in its own sagittal plane [rad], shape (n, 3, 3) to (n,): its x axis below the horizontal."""
    return np.asarray(np.arcsin(np.clip(-attitude[:, 2, 0], -1, 1)))


def yaw_rad(attitude: Floats) -> Floats:
    """Turn of a segment's forward axis from the lane, counter-clockwise from above [rad], without jumps, shape (n,)."""
    angle = np.arctan2(attitude[:, 1, 0], attitude[:, 0, 0])
    known = np.isfinite(angle)
    angle[known] = np.unwrap(angle[known])
    return np.asarray(angle)
