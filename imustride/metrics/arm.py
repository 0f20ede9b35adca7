"""The swing of a forearm in the vertical plane in which it mainly swings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.metrics.extension import smooth

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.metrics.limbs import Limbs


def swing_deg(limbs: Limbs) -> NDArray[np.float64]:
    """Angle of the forearm from hanging down in its main plane of swing, positive forward [deg], shape (m,).

    The plane is the main direction of the forearm's horizontal part from the first blade-off to the last.
    """
    along = -limbs.long_axis("arm")
    if not np.isfinite(limbs.off_s).any():
        return limbs.nothing
    pushing = (limbs.time_s >= np.nanmin(limbs.off_s)) & (limbs.time_s <= np.nanmax(limbs.off_s))
    seen = along[pushing, :2]
    seen = seen[np.isfinite(seen).all(axis=1)]
    if len(seen) < 2:
        return limbs.nothing
    _, axes = np.linalg.eigh(np.cov(seen.T))
    plane = axes[:, 1] * (1.0 if axes[0, 1] >= 0 else -1.0)
    return np.asarray(np.degrees(np.arctan2(along[:, :2] @ plane, -along[:, 2])))


def arm_lag_s(limbs: Limbs, *, forward: bool) -> NDArray[np.float64]:
    """Return the end of the arm's swing nearest to each blade-off, minus blade-off [s], shape (k,).

    Parameters
    ----------
    limbs : Limbs
    forward : bool
        Only the forward end counts, else either.
    """
    reach_s = (limbs.next_on_s - limbs.on_s) / 2
    swing = smooth(swing_deg(limbs), limbs.time_s)
    end_s = limbs.peak_s if forward else limbs.turning_s
    return end_s(swing, limbs.off_s, reach_s) - limbs.off_s
