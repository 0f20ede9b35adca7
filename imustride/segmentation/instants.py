"""Log likelihoods over the instant of a touch-down or lift-off, from windows of evidence.

All windows run from air to ice: in the order of time for a touch-down, reversed for a lift-off. The
instant that a row of likelihoods stands for is the sample where the ice begins.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

# Samples this close say the same thing twice: likelihoods are counted once per this time.
STEP_S = 0.0025
HINGE_INDEPENDENT_S = 0.03
TEMPLATE_INDEPENDENT_S = 0.005
TEMPLATE_HZ = 250.0
# Spread of the log energy of ice vibration (chi-square of three axes), and where a sample stops to count.
TEMPLATE_SD, TEMPLATE_BOUND = 1.2, 3.0
# A holder that rings on after lift-off is less usual than one that does not.
STEP_RING_S, RINGING_SHARE = 0.001, 0.27


def windows(values: NDArray[Any], centres: NDArray[np.int64], half: int) -> NDArray[Any]:
    """Pieces of a signal around centres, ends repeated, shape (events, 2 half + 1)."""
    index = np.clip(centres[:, None] + np.arange(-half, half + 1), 0, len(values) - 1)
    return np.asarray(values[index])


def hinge(
    values: NDArray[np.float64], rate_hz: float, sd: float, bend_s: float = 0.05
) -> NDArray[np.float64]:
    """Log likelihood that a velocity is constant on the ice and leaves it as a cubic in the air.

    Parameters
    ----------
    values : ndarray, shape (events, m)
        Air to ice.
    rate_hz : float
    sd : float
        Spread of the velocity on the ice [unit of the values].
    bend_s : float
        Time by which the cubic is scaled; only for the arithmetic [s].

    Returns
    -------
    ndarray, shape (events, m)
        -inf within 12 ms of either end.
    """
    m = values.shape[1]
    out = np.full(values.shape, -np.inf)
    edge = max(int(0.012 * rate_hz), 2)
    instants = np.arange(edge, m - edge)
    time = np.arange(m) / rate_hz
    before = np.clip(time[instants][:, None] - time, 0, None) / bend_s
    designs, _ = np.linalg.qr(np.stack((np.ones_like(before), before, before**2, before**3), axis=2))
    # One product for all instants: explained energy is the sum of four squared projections.
    projected = values @ designs.transpose(1, 0, 2).reshape(m, -1)
    explained = (projected.reshape(len(values), -1, 4) ** 2).sum(axis=2)
    left = np.maximum((values**2).sum(axis=1)[:, None] - explained, 0.0)
    out[:, instants] = -0.5 * left / (sd**2 * HINGE_INDEPENDENT_S * rate_hz)
    return out


def on_side(odds: NDArray[np.float64], rate_hz: float) -> NDArray[np.float64]:
    """Sum of the odds of all samples on the ice side of every instant, shape (events, m)."""
    return np.asarray(np.cumsum(odds[:, ::-1], axis=1)[:, ::-1] / (rate_hz * STEP_S))


def decline(
    level: NDArray[np.float64],
    ice: NDArray[np.float64],
    air: NDArray[np.float64],
    rate_hz: float,
    reach: int,
) -> NDArray[np.float64]:
    """Log likelihood of a lift-off under templates of how vibration dies away.

    The load fades before lift-off, and a holder may ring after it: templates of both, of several
    lengths, and of a plain step, share the probability. Student-t errors of the log energy.

    Parameters
    ----------
    level : ndarray, shape (events, m)
        Log energy, air to ice.
    ice, air : ndarray, shape (events,)
        Level well on either side.
    rate_hz : float
    reach : int
        Samples around the middle to evaluate.

    Returns
    -------
    ndarray, shape (events, m)
        -inf beyond reach.
    """
    m = level.shape[1]
    half = m // 2
    every = max(int(rate_hz // TEMPLATE_HZ), 1)
    samples = np.arange(half % every, m, every)
    instants = samples[np.abs(samples - half) <= reach]
    templates = [
        (share, fade_s, ring_s)
        for share, fade_s in ((0.0, 0.05), (0.5, 0.04), (0.5, 0.08), (1.0, 0.04), (1.0, 0.08))
        for ring_s in ((STEP_RING_S,) if share == 1.0 else (STEP_RING_S, 0.006, 0.020))
    ]
    prior = np.log([1.0 if ring_s == STEP_RING_S else RINGING_SHARE for *_, ring_s in templates])
    # Levels from air (0) to ice (1), so that one set of shapes serves all events.
    drop = np.maximum(ice - air, 0.3)[:, None]
    size = (drop / TEMPLATE_SD) ** 2
    place = (level[:, samples] - air[:, None]) / drop
    out = np.full(level.shape, -np.inf)
    for instant in instants:
        time = (samples - instant) / rate_hz
        scores = np.stack([
            template_score(place, size, shape(time, template, drop)) for template in templates
        ], axis=1)  # fmt: skip
        scores = scores * (every / (TEMPLATE_INDEPENDENT_S * rate_hz)) + prior
        top = scores.max(axis=1)
        out[:, instant] = top + np.log(np.exp(scores - top[:, None]).mean(axis=1))
    return out


def shape(
    time: NDArray[np.float64], template: tuple[float, float, float], drop: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Level of a template, 0 in the air to 1 on the ice, shape (events, samples).

    Parameters
    ----------
    time : ndarray, shape (samples,)
        From the instant towards the ice [s].
    template : tuple
        Share of the drop that fades before lift-off, over what time [s], and how long a ringing takes
        to fall by one neper [s].
    drop : ndarray, shape (events, 1)
        Whole drop in nepers.
    """
    share, fade_s, ring_s = template
    faded = 1 - share * np.clip(1 - time / fade_s, 0, 1)
    rung = np.maximum(1 - share + np.minimum(time, 0) / ring_s / drop, 0.0)
    return np.where(time >= 0, faded, rung)


def template_score(
    place: NDArray[np.float64], size: NDArray[np.float64], expected: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Log likelihood of windows under one template, errors bounded, shape (events,)."""
    miss = place - expected
    miss *= miss
    miss *= size
    return np.asarray(-0.5 * np.minimum(miss, TEMPLATE_BOUND**2).sum(axis=1))


def mean_instant(
    likelihood: NDArray[np.float64], reach: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean and standard deviation, in samples from the middle, of the distribution within reach."""
    half = likelihood.shape[1] // 2
    piece = likelihood[:, half - reach : half + reach + 1]
    top = piece.max(axis=1, keepdims=True)
    weight = np.exp(piece - np.where(np.isfinite(top), top, 0.0))
    weight = np.where(np.isfinite(top), weight, 1.0)
    weight /= weight.sum(axis=1, keepdims=True)
    place = np.arange(-reach, reach + 1)
    mean = weight @ place
    return np.asarray(mean, float), np.sqrt(np.maximum(weight @ place**2 - mean**2, 0.0))
