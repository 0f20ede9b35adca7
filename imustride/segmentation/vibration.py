"""Evidence from vibration: ice shakes a sliding blade, air does not.

Principle: vibration content of the three-axis acceleration while the blade is on the ice (Stetter
et al. 2016, doi 10.1123/jab.2014-0245). Instead of a fixed band, the band is the one that tells
ice from air best in this recording: the short filter with the largest ratio of energy in spans
that are surely contact to energy in spans that are surely swing, a generalised eigenvalue problem of
their covariances. So sampling rate, device low pass and mounting resonances need no tuning, and
what the motion itself leaks into the band is part of the swing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import pieces
from imustride.segmentation.averages import smoothed
from imustride.segmentation.counting import sample_count

if TYPE_CHECKING:
    from numpy.typing import NDArray


# More stretches than this make a covariance no better.
MOST_STRETCHES = 10_000


@dataclass(frozen=True, slots=True)
class VibrationSettings:
    """Length of the filter and how far its evidence goes (common practice, no source)."""

    filter_s: float = 0.012
    fewest_taps: int = 5
    edge_share: float = 0.2
    smoothing_s: float = 0.016
    independent_s: float = 0.04
    spread_floor_log: float = 0.6
    largest_odds: float = 4.0
    slow_m_s: float = 2.0
    smallest_contrast: float = 1.5


@dataclass(frozen=True, eq=False, slots=True)
class Vibration:
    """Log energy of the filtered acceleration for touch-down and for lift-off, and typical levels.

    Parameters
    ----------
    rising, falling : ndarray, shape (n,)
        Log energy [ln (m/s^2)^2] placed so that a step in the vibration is not seen before it
        happens (rising), or not after (falling).
    ice, air : float
        Median log energy in sure contacts and sure swings.
    """

    rising: NDArray[np.float64]
    falling: NDArray[np.float64]
    ice: float
    air: float


def covariance(values: NDArray[np.float64], mask: NDArray[np.bool_], taps: int) -> NDArray[np.float64]:
    """Mean outer product of stretches of `taps` samples that begin in the mask, shape (taps, taps).

    Stretches with an impact in them count less, by the energy of their second difference.
    """
    begin = np.flatnonzero(mask[: len(mask) - taps + 1])
    begin = begin[:: max(len(begin) // MOST_STRETCHES, 1)]
    # One more sample on either side, for the second difference.
    index = begin + np.arange(-1, taps + 1)[:, None]
    wide = [axis.take(index, mode="clip") for axis in values.T]
    energy = np.zeros(len(begin))
    for axis in wide:
        bend = np.diff(axis, 2, axis=0)
        energy += np.einsum("tn,tn->n", bend, bend)
    usual = np.median(energy) + 1e-12
    weight = usual / (usual + energy)
    out = np.zeros((taps, taps))
    for axis in wide:
        out += np.einsum("an,bn->ab", axis[1:-1] * weight, axis[1:-1])
    return np.asarray(out / weight.sum())


def contrast_filter(
    acceleration: NDArray[np.float64], on: NDArray[np.bool_], off: NDArray[np.bool_], taps: int
) -> NDArray[np.float64]:
    """Return the filter whose output energy differs most between the two masks, shape (taps,).

    Parameters
    ----------
    acceleration : ndarray, shape (n, 3)
    on, off : ndarray of bool, shape (n,)
        Samples surely in contact and surely in the air.
    taps : int
    """
    loud = covariance(acceleration, on, taps)
    still = covariance(acceleration, off, taps)
    still += np.eye(taps) * (1e-9 * still[0, 0] + 1e-6)
    root = np.linalg.inv(np.linalg.cholesky(still))
    _, vectors = np.linalg.eigh(root @ loud @ root.T)
    best = root.T @ vectors[:, -1]
    return np.asarray(best / np.linalg.norm(best))


def log_energies(
    acceleration: NDArray[np.float64], taps: NDArray[np.float64], settings: VibrationSettings
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Log energy of the filtered acceleration for touch-downs and for lift-offs, shape (n,) each.

    A step in vibration passes through the filter in its own length; the output is shifted so that
    its first part (touch-down) or its last part (lift-off) sits at the instant of the step.
    """
    length, count = len(taps), len(acceleration)
    energy = np.zeros(count + 3 * length - 1)
    for axis in acceleration.T:
        passed = np.convolve(np.pad(axis, length, mode="edge"), taps)
        passed *= passed
        energy += passed
    energy += 1e-9
    np.log(energy, out=energy)
    passed = np.cumsum(taps**2)
    rising, falling = (
        length + int(np.searchsorted(passed, share))
        for share in (settings.edge_share, 1 - settings.edge_share)
    )
    return energy[rising : rising + count], energy[falling : falling + count]


def ice_vibration(
    acceleration: NDArray[np.float64],
    on: NDArray[np.bool_],
    off: NDArray[np.bool_],
    rate_hz: float,
    settings: VibrationSettings,
) -> Vibration | None:
    """Learn the vibration channel from sure contacts and swings; None with too little of either.

    Parameters
    ----------
    acceleration : ndarray, shape (n, 3)
    on, off : ndarray of bool, shape (m,)
        The first samples, as many as are to be learnt from.
    rate_hz : float
    settings : VibrationSettings
    """
    taps = max(sample_count(settings.filter_s, rate_hz) | 1, settings.fewest_taps)
    if on.sum() < 5 * taps or off.sum() < 5 * taps:
        return None
    coefficients = contrast_filter(acceleration, on, off, taps)
    rising, falling = log_energies(acceleration, coefficients, settings)
    learnt = rising[: len(on)]
    return Vibration(rising, falling, float(np.median(learnt[on])), float(np.median(learnt[off])))


def vibration_evidence(
    vibration: Vibration,
    on: NDArray[np.bool_],
    off: NDArray[np.bool_],
    speed_m_s: NDArray[np.float64],
    rate_hz: float,
    settings: VibrationSettings,
) -> NDArray[np.float64]:
    """Log odds a sample that the blade is on the ice, each state described by its own recording.

    Parameters
    ----------
    vibration : Vibration
    on, off : ndarray of bool, shape (m,)
        As in `ice_vibration`.
    speed_m_s : ndarray, shape (n,)
    rate_hz : float
    settings : VibrationSettings

    Returns
    -------
    ndarray, shape (n,)
    """
    if vibration.ice - vibration.air < np.log(settings.smallest_contrast):
        return np.zeros(len(speed_m_s))
    level = smoothed(
        0.5 * (vibration.rising + vibration.falling), sample_count(settings.smoothing_s, rate_hz)
    )
    learnt = level[: len(on)]
    loud, still = np.median(learnt[on]), np.median(learnt[off])
    sd_on = max(1.4826 * np.median(np.abs(learnt[on] - loud)), settings.spread_floor_log)
    sd_off = max(1.4826 * np.median(np.abs(learnt[off] - still)), settings.spread_floor_log)
    out = np.empty(len(level))
    for piece in pieces(len(level)):
        part = level[piece]
        odds = ((np.maximum(part, still) - still) / sd_off) ** 2 - (
            (np.minimum(part, loud) - loud) / sd_on
        ) ** 2
        odds = np.clip(0.5 * odds - np.log(sd_on / sd_off), -settings.largest_odds, settings.largest_odds)
        # A blade that stands or creeps hardly vibrates: there silence says nothing.
        slow = np.clip(speed_m_s[piece] / settings.slow_m_s, 0, 1) ** 2
        out[piece] = np.where(odds < 0, odds * slow, odds) / (settings.independent_s * rate_hz)
    return out
