"""Noise of a sensor at rest: Allan deviation of every axis, and what it is made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration.allan import AllanSums, cluster_lengths
from imustride.calibration.noise_terms import fit_terms

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from imustride.calibration.allan import AllanCurve
    from imustride.calibration.noise_terms import NoiseFitSettings, NoiseTerms


@dataclass(frozen=True, eq=False, slots=True)
class Noise:
    """Noise of the six axes: accelerometer x, y, z, gyroscope x, y, z.

    Parameters
    ----------
    curve : AllanCurve
    terms : tuple of NoiseTerms
        One an axis.
    mean, sd : ndarray, shape (6,)
        Of the samples.
    rate_hz : float
    count : int
        Samples used.
    """

    curve: AllanCurve
    terms: tuple[NoiseTerms, ...]
    mean: NDArray[np.float64]
    sd: NDArray[np.float64]
    rate_hz: float
    count: int


def measure_noise(
    blocks: Iterable[NDArray[np.float64]],
    count: int,
    rate_hz: float,
    settings: NoiseFitSettings | None = None,
) -> Noise:
    """Measure the noise of evenly counted samples at rest.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (n, 6)
        One after the other, `count` samples in all; only one is held at a time.
    count : int
    rate_hz : float
    settings : NoiseFitSettings, optional
    """
    sums = AllanSums(cluster_lengths(count), 6)
    total, squares, origin = np.zeros(6), np.zeros(6), None
    for block in blocks:
        origin = block[0] if origin is None else origin
        sums.add(block)
        total += (block - origin).sum(axis=0)
        squares += ((block - origin) ** 2).sum(axis=0)
    mean = total / sums.count
    curve = sums.curve(rate_hz)
    return Noise(
        curve,
        tuple(fit_terms(curve, axis, settings) for axis in range(6)),
        mean + (0.0 if origin is None else origin),
        np.sqrt(np.maximum(squares / sums.count - mean**2, 0.0)),
        rate_hz,
        sums.count,
    )
