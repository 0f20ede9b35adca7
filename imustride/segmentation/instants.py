"""Log likelihoods over the instant of a touch-down or lift-off, from windows of evidence.

All windows run from air to ice: in the order of time for a touch-down, reversed for a lift-off. The
instant that a row of likelihoods stands for is the sample where the ice begins.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.recording import ALONE, pieces
from imustride.segmentation.counting import one_in, sample_count

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
# How the load fades before lift-off: share of the drop, and over what time [s]. Each is combined with how long
# a ringing takes to fall by one neper [s].
FADES = ((0.0, 0.05), (0.5, 0.04), (0.5, 0.08), (1.0, 0.04), (1.0, 0.08))
TEMPLATES = tuple(
    (share, fade_s, ring_s)
    for share, fade_s in FADES
    for ring_s in ((STEP_RING_S,) if share == 1.0 else (STEP_RING_S, 0.006, 0.020))
)
TEMPLATE_PRIOR = np.log([1.0 if ring_s == STEP_RING_S else RINGING_SHARE for *_, ring_s in TEMPLATES])
# Events worked on at a time: what is made on the way stays in the processor's cache.
MOST_EVENTS = 128


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
    count, m = values.shape
    out = np.full(values.shape, -np.inf)
    edge = max(sample_count(0.012, rate_hz), 2)
    designs = hinge_designs(m, edge, bend_s * rate_hz)
    for some in pieces(count, max(ALONE // designs.size, 1)):
        # One product for all instants: explained energy is the sum of four squared projections.
        projected = (values[some] @ designs).reshape(-1, 4, m - 2 * edge)
        explained = np.einsum("epi,epi->ei", projected, projected)
        left = np.maximum(np.einsum("em,em->e", values[some], values[some])[:, None] - explained, 0.0)
        out[some, edge : m - edge] = -0.5 * left / (sd**2 * HINGE_INDEPENDENT_S * rate_hz)
    return out


@lru_cache(maxsize=8)
def hinge_designs(m: int, edge: int, bend: float) -> NDArray[np.float64]:
    """Orthonormal bases of the hinges at all instants, shape (m, 4 instants): first columns of all, second, ..."""
    before = np.clip(np.arange(edge, m - edge)[:, None] - np.arange(m), 0, None) / bend
    designs, _ = np.linalg.qr(np.stack((np.ones_like(before), before, before**2, before**3), axis=2))
    return np.ascontiguousarray(designs.transpose(1, 2, 0)).reshape(m, -1)


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
    half = level.shape[1] // 2
    every = one_in(rate_hz, TEMPLATE_HZ)
    samples = np.arange(half % every, level.shape[1], every)
    instants = np.flatnonzero(np.abs(samples - half) <= reach)
    weight = every / (TEMPLATE_INDEPENDENT_S * rate_hz)
    out = np.full(level.shape, -np.inf)
    for some in pieces(len(level), MOST_EVENTS):
        # Levels from air (0) to ice (1), so that one set of shapes serves all events.
        drop = np.maximum(ice[some] - air[some], 0.3)[:, None]
        place = (level[some][:, samples] - air[some, None]) / drop
        scores = weight * template_scores(place, drop, instants, rate_hz / every) + TEMPLATE_PRIOR
        top = scores.max(axis=2)
        out[some, samples[instants]] = top + np.log(np.exp(scores - top[:, :, None]).mean(axis=2))
    return out


def template_scores(
    place: NDArray[np.float64], drop: NDArray[np.float64], instants: NDArray[np.int64], rate_hz: float
) -> NDArray[np.float64]:
    """Log likelihood of every instant under every template, errors bounded, shape (events, instants, templates).

    Parameters
    ----------
    place : ndarray, shape (events, samples)
        Level, 0 in the air to 1 on the ice, air to ice.
    drop : ndarray, shape (events, 1)
        Whole drop in nepers.
    instants : ndarray of int
        Samples.
    rate_hz : float
    """
    # On either side the level soon reaches that of the ice or of the air: only until then the shape counts.
    size, count = (drop / TEMPLATE_SD) ** 2, place.shape[1]
    fading, ringing = {}, {}
    for share, fade_s in FADES:
        time_s = np.arange(max(int(np.ceil(fade_s * rate_hz)), 1) if share else 1) / rate_hz
        shape = 1 - share * np.clip(1 - time_s / fade_s, 0, 1)
        fading[share, fade_s] = bounded_miss(place, size, instants, shape[None, :], beyond=1.0)
    for share, ring_s in {template[::2] for template in TEMPLATES}:
        until = (1 - share) * ring_s * float(drop.max(initial=0.0)) * rate_hz
        time_s = np.arange(1, min(max(int(np.ceil(until)), 1), count) + 1) / rate_hz
        shape = np.maximum(1 - share - time_s / ring_s / drop, 0.0)
        ringing[share, ring_s] = bounded_miss(place[:, ::-1], size, count - instants, shape, beyond=0.0)
    misses = [fading[share, fade_s] + ringing[share, ring_s] for share, fade_s, ring_s in TEMPLATES]
    return np.asarray(-0.5 * np.stack(misses, axis=2))


def bounded_miss(
    place: NDArray[np.float64],
    size: NDArray[np.float64],
    starts: NDArray[np.int64],
    shape: NDArray[np.float64],
    beyond: float,
) -> NDArray[np.float64]:
    """Sum of squared, bounded misses of all samples from a start on, shape (events, starts).

    Parameters
    ----------
    place : ndarray, shape (events, samples)
    size : ndarray, shape (events, 1)
        Weight of a squared miss.
    starts : ndarray of int
    shape : ndarray, shape (events or 1, k)
        Level expected of the first samples from a start.
    beyond : float
        Level expected of the others.
    """
    (events, count), k = place.shape, shape.shape[1]
    padded = np.concatenate((place, np.zeros((events, k))), axis=1)
    miss = np.lib.stride_tricks.sliding_window_view(padded, k, axis=1)[:, starts] - shape[:, None, :]
    miss *= miss
    miss *= size[:, :, None]
    np.minimum(miss, TEMPLATE_BOUND**2, out=miss)
    inside = (starts[:, None] + np.arange(k) < count).astype(float)
    far = np.minimum(size * (place - beyond) ** 2, TEMPLATE_BOUND**2)
    rest = np.concatenate((np.cumsum(far[:, ::-1], axis=1)[:, ::-1], np.zeros((events, 1))), axis=1)
    near = np.einsum("esk,sk->es", miss, inside)
    return np.asarray(near + rest[:, np.minimum(starts + k, count)])


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
    mean, square = np.einsum("ei,ki->ke", weight, np.stack((place, place**2)).astype(float))
    return mean, np.sqrt(np.maximum(square - mean**2, 0.0))
