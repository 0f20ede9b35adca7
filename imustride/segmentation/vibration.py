"""Evidence from vibration: ice shakes a sliding blade, air does not.

Principle: vibration content of the three-axis acceleration while the blade is on the ice (Stetter
et al. 2016, doi 10.1123/jab.2014-0245). Instead of a fixed band, the band is the one that tells
ice from air best in this recording: the short filter with the largest ratio of energy in spans
that are surely contact to energy in spans that are surely swing, which is a generalised
eigenvalue problem of their autocovariances. So sampling rate, device low pass and mounting
resonances need no tuning, and what the motion itself leaks into the band is part of the swing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class VibrationSettings:
    """Length of the filter and how far its evidence goes (common practice, no source)."""

    filter_s: float = 0.012
    fewest_taps: int = 5
    smoothing_s: float = 0.016
    independent_s: float = 0.04
    spread_floor_log: float = 0.6
    largest_odds: float = 4.0
    slow_m_s: float = 2.0
    smallest_contrast: float = 1.5


@dataclass(frozen=True, eq=False, slots=True)
class Vibration:
    """The filter, its energy per sample [(m/s^2)^2] and the contrast of contact to swing."""

    taps: NDArray[np.float64]
    energy: NDArray[np.float64]
    contrast: float


def covariance(values: NDArray[np.float64], mask: NDArray[np.bool_], taps: int) -> NDArray[np.float64]:
    """Mean outer product of stretches of `taps` samples that begin in the mask, shape (taps, taps)."""
    out = np.zeros((taps, taps))
    begin = np.flatnonzero(mask[: len(mask) - taps + 1])
    for axis in values.T:
        stretch = np.lib.stride_tricks.sliding_window_view(axis, taps)[begin]
        out += stretch.T @ stretch
    return out / max(len(begin), 1)


def contrast_filter(
    acceleration: NDArray[np.float64], on: NDArray[np.bool_], off: NDArray[np.bool_], taps: int
) -> tuple[NDArray[np.float64], float]:
    """Return the filter whose output differs most between the two masks, and the energy ratio.

    Parameters
    ----------
    acceleration : ndarray, shape (n, 3)
    on, off : ndarray of bool, shape (n,)
        Samples surely in contact and surely in the air.
    taps : int

    Returns
    -------
    tuple of ndarray, shape (taps,), and float
    """
    loud = covariance(acceleration, on, taps)
    still = covariance(acceleration, off, taps)
    still = still + np.eye(taps) * (1e-9 * still[0, 0] + 1e-6)
    root = np.linalg.inv(np.linalg.cholesky(still))
    values, vectors = np.linalg.eigh(root @ loud @ root.T)
    best = root.T @ vectors[:, -1]
    return best / np.linalg.norm(best), float(values[-1])


def filtered_energy(acceleration: NDArray[np.float64], taps: NDArray[np.float64]) -> NDArray[np.float64]:
    """Energy of the filtered acceleration, centred on the filter's own centre of energy, shape (n,)."""
    centre = round(float(np.arange(len(taps)) @ taps**2))
    energy = np.zeros(len(acceleration))
    for axis in acceleration.T:
        padded = np.concatenate((np.full(len(taps), axis[0]), axis, np.full(len(taps), axis[-1])))
        out = np.convolve(padded, taps)[len(taps) + centre :][: len(axis)]
        energy += out**2
    return energy
