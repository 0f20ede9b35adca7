"""Positions that do not belong: touched, moved, or at the end of the range."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration.norm_fit import PARAMETERS, NormFit, fit_norm

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class OutlierSettings:
    """When a position is left out. Common practice, no source, where no other is named."""

    # Chance to leave out a good position, over all of them; and an error below which none is left out (3 mg).
    chance: float = 1e-3
    smallest_ratio: float = 3e-3
    # At most this part of the positions is left out.
    largest_share: float = 0.25
    # From so many positions on, a robust fit looks first: several bad ones hide each other.
    robust_from: int = 18
    robust_steps: int = 20
    robust_limit: float = 6.0


def without_outliers(
    positions: Floats, variances: Floats, settings: OutlierSettings
) -> tuple[NormFit, NDArray[np.bool_], int] | None:
    """Fit the positions that agree.

    Returns
    -------
    tuple or None
        The fit (residuals of all positions), which were used, and how many more they are than parameters;
        None where too few are left or a parameter stays open.

    Notes
    -----
    Each position is compared with what the others predict for it: the externally studentised residual
    (Cook and Weisberg 1982, section 2.2), with Bonferroni's correction; the worst goes first.
    """
    used = _robust(positions, variances, settings)
    while True:
        fit = fit_norm(positions[used], variances[used])
        freedom = int(used.sum()) - PARAMETERS
        if fit is None or freedom < 1:
            return None
        worst = _worst(fit, variances[used], freedom, settings)
        if worst is None or (~used).sum() + 1 > settings.largest_share * len(used):
            break
        used[np.flatnonzero(used)[worst]] = False
    length = np.linalg.norm((positions - fit.bias) @ fit.matrix.T, axis=1)
    return NormFit(fit.parameters, fit.cofactors, length - 1, fit.leverage), used, freedom


def _worst(fit: NormFit, variances: Floats, freedom: int, settings: OutlierSettings) -> int | None:
    """Return the position the others least agree with, None where all of them pass."""
    from scipy.special import stdtr

    if freedom < 2:
        return None
    free = np.maximum(1 - fit.leverage, 1e-9)
    square = fit.residuals**2 / variances
    others = (square.sum() - square / free) / (freedom - 1)
    t = np.sqrt(square / (free * np.maximum(others, 1e-12)))
    t[(free < 1e-3) | (np.abs(fit.residuals) / free < settings.smallest_ratio)] = 0.0
    worst = int(np.argmax(t))
    chance = 2 * len(t) * float(stdtr(freedom - 1, -t[worst]))
    return worst if chance < settings.chance else None


def _robust(positions: Floats, variances: Floats, settings: OutlierSettings) -> NDArray[np.bool_]:
    """Return which positions agree with a fit that trusts the far ones less and less (Cauchy weights)."""
    used = np.ones(len(positions), dtype=bool)
    if len(positions) < settings.robust_from:
        return used
    weakened = variances
    residuals = np.zeros(len(positions))
    usual = 0.0
    for _ in range(settings.robust_steps):
        fit = fit_norm(positions, weakened)
        if fit is None:
            return used
        residuals = fit.residuals
        usual = max(1.4826 * float(np.median(np.abs(residuals))), 1e-12)
        weakened = variances * (1 + (residuals / (2 * usual)) ** 2)
    far = (np.abs(residuals) > settings.robust_limit * usual) & (np.abs(residuals) > settings.smallest_ratio)
    return ~far if far.sum() <= settings.largest_share * len(far) else used
