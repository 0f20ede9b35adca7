"""Log likelihoods over the instant of a touch-down or lift-off, from windows of evidence.

All windows run from air to ice: in the order of time for a touch-down, reversed for a lift-off. The
instant that a row of likelihoods stands for is the sample where the ice begins.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

# Samples this close say the same thing twice: likelihoods are counted once per this time.
STEP_S = 0.0025
HINGE_INDEPENDENT_S = 0.03
TEMPLATE_INDEPENDENT_S = 0.005
# A holder that rings on after lift-off is less usual than one that does not.
STEP_RING_S, RINGING_SHARE = 0.001, 0.27


def windows(values: NDArray[np.float64], centres: NDArray[np.int64], half: int) -> NDArray[np.float64]:
    """Pieces of a signal around centres, ends repeated, shape (events, 2 half + 1)."""
    index = np.clip(centres[:, None] + np.arange(-half, half + 1), 0, len(values) - 1)
    return np.asarray(values[index])


def hinge(values: NDArray[np.float64], rate_hz: float, sd: float, bend_s: float = 0.05) -> NDArray[np.float64]:
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
    time = np.arange(m) / rate_hz
    edge = max(int(0.012 * rate_hz), 2)
    energy = (values**2).sum(axis=1)
    for instant in range(edge, m - edge):
        before = np.clip(time[instant] - time, 0, None) / bend_s
        design, _ = np.linalg.qr(np.stack((np.ones(m), before, before**2, before**3), axis=1))
        left = np.maximum(energy - ((values @ design) ** 2).sum(axis=1), 0.0)
        out[:, instant] = -0.5 * left / (sd**2 * HINGE_INDEPENDENT_S * rate_hz)
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
    out = np.full(level.shape, -np.inf)
    drop = (ice - air)[:, None]
    templates = [
        (share, fade_s, ring_s)
        for share, fade_s in ((0.0, 0.05), (0.5, 0.04), (0.5, 0.08), (1.0, 0.04), (1.0, 0.08))
        for ring_s in ((STEP_RING_S,) if share == 1.0 else (STEP_RING_S, 0.006, 0.020))
    ]
    prior = np.log([1.0 if ring_s == STEP_RING_S else RINGING_SHARE for *_, ring_s in templates])[:, None]
    for instant in range(half - reach, half + reach + 1):
        time = (np.arange(m) - instant) / rate_hz
        scores = np.stack([
            template_score(level, time, ice[:, None], air[:, None], drop, template) for template in templates
        ])  # fmt: skip
        scores = scores / (TEMPLATE_INDEPENDENT_S * rate_hz) + prior
        top = scores.max(axis=0)
        out[:, instant] = top + np.log(np.exp(scores - top).mean(axis=0))
    return out


def template_score(
    level: NDArray[np.float64],
    time: NDArray[np.float64],
    ice: NDArray[np.float64],
    air: NDArray[np.float64],
    drop: NDArray[np.float64],
    template: tuple[float, float, float],
    sd: float = 1.2,
    freedom: float = 4.0,
) -> NDArray[np.float64]:
    """Log likelihood of every window under one template, shape (events,)."""
    share, fade_s, ring_s = template
    faded = ice - share * drop * np.clip(1 - time / fade_s, 0, 1)
    rung = np.maximum(ice - share * drop + time / ring_s, air)
    miss = (level - np.where(time >= 0, faded, rung)) / sd
    return np.asarray(-0.5 * (freedom + 1) * np.log1p(miss**2 / freedom).sum(axis=1))


def mean_instant(likelihood: NDArray[np.float64], reach: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean and standard deviation, in samples from the middle, of the distribution within reach."""
    half = likelihood.shape[1] // 2
    piece = likelihood[:, half - reach : half + reach + 1]
    top = piece.max(axis=1, keepdims=True)
    weight = np.exp(piece - np.where(np.isfinite(top), top, 0.0))
    weight = np.where(np.isfinite(top), weight, 1.0)
    weight /= weight.sum(axis=1, keepdims=True)
    place = np.arange(-reach, reach + 1)
    mean = weight @ place
    return mean, np.sqrt(np.maximum(weight @ place**2 - mean**2, 0.0))
