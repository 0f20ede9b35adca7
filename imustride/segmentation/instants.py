"""The instant of each touch-down and lift-off: where the signals change their kind.

For every boundary a log likelihood over a fine grid of instants is summed from two kinds of
evidence: a step in the energy of the ice vibration, and the contact point's velocity, which is
steady on the ice and is not in the air. The instant is the mean of the resulting distribution.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class InstantSettings:
    """Windows and weights of the search (common practice, no source)."""

    window_s: float = 0.09
    search_s: float = 0.06
    vibration_weight: float = 0.35
    rise_sd_m_s: float = 0.04
    slip_sd_m_s: float = 0.06
    kinematic_weight: float = 0.1


def windows(values: NDArray[np.float64], centres: NDArray[np.int64], half: int) -> NDArray[np.float64]:
    """Pieces of a signal around centres, ends repeated, shape (events, 2 half + 1)."""
    index = np.clip(centres[:, None] + np.arange(-half, half + 1), 0, len(values) - 1)
    return values[index]


def step_likelihood(
    energy: NDArray[np.float64], quiet: NDArray[np.float64], loud: NDArray[np.float64], rise: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Log likelihood of an energy step at every sample of the windows.

    Parameters
    ----------
    energy : ndarray, shape (events, m)
        In the order of time for touch-down; reversed for lift-off.
    quiet, loud : ndarray, shape (events,)
        Mean energy before and after the step.
    rise : ndarray, shape (r,)
        Share of the step that the filter shows 0, 1, 2, ... samples around its instant.

    Returns
    -------
    ndarray, shape (events, m)
        Up to a constant a row.
    """
    m = energy.shape[1]
    offset = np.arange(m)[None, :] - np.arange(m)[:, None] + len(rise) // 2  # sample minus instant
    share = np.where(offset < 0, 0.0, np.where(offset >= len(rise), 1.0, rise[np.clip(offset, 0, len(rise) - 1)]))
    out = np.empty(energy.shape)
    for instant in range(m):
        level = quiet[:, None] + (loud - quiet)[:, None] * share[instant][None, :]
        # Three axes of Gaussian samples: chi-square with three degrees of freedom.
        out[:, instant] = -0.5 * (energy / level * 3 / 3 + 3 * np.log(level)).sum(axis=1)
    return out


def steady_likelihood(velocity: NDArray[np.float64], sd: float, shortest: int) -> NDArray[np.float64]:
    """Log likelihood that the velocity is constant after and a parabola before every sample.

    Parameters
    ----------
    velocity : ndarray, shape (events, m)
        In the order of time for touch-down; reversed for lift-off.
    sd : float
        Spread of the velocity on the ice [m/s].
    shortest : int
        Fewest samples on either side.

    Returns
    -------
    ndarray, shape (events, m)
        -inf where a side is shorter.
    """
    m = velocity.shape[1]
    out = np.full(velocity.shape, -np.inf)
    x = np.linspace(-1.0, 1.0, m)
    for instant in range(shortest, m - shortest):
        on = velocity[:, instant:]
        flat = ((on - on.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)
        design = np.stack((np.ones(instant), x[:instant], x[:instant] ** 2), axis=1)
        q, _ = np.linalg.qr(design)
        air = velocity[:, :instant]
        bent = (air**2).sum(axis=1) - ((air @ q) ** 2).sum(axis=1)
        out[:, instant] = -0.5 * (flat + np.maximum(bent, 0.0)) / sd**2
    return out


def mean_instant(likelihood: NDArray[np.float64], reach: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean and standard deviation, in samples from the centre, of the distribution within reach."""
    half = likelihood.shape[1] // 2
    piece = likelihood[:, half - reach : half + reach + 1]
    weight = np.exp(piece - piece.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    place = np.arange(-reach, reach + 1)
    mean = weight @ place
    return mean, np.sqrt(np.maximum(weight @ place**2 - mean**2, 0.0))
