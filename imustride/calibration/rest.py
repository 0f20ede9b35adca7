"""Where a sensor on the table lay still, and what it showed there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.errors import SettingsError
from imustride.recording import own, stretches

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from imustride.recording import Recording

    Floats = NDArray[np.float64]
    Spans = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class RestSettings:
    """When a sensor counts as still. Common practice, no source, where no other is named."""

    window_s: float = 0.5  # over which shaking is measured
    hop_s: float = 0.1
    # A position must be held so long; Tedaldi et al. 2014 hold each for 1 to 4 s.
    shortest_s: float = 1.0
    # Left out at both ends: a window may pass for still with the first of a movement in it.
    edge_s: float = 0.2
    # The calmest part of the recording sets the scale; still is what shakes less than these multiples of it,
    # of which the one is taken that leaves the parameters least uncertain (Tedaldi et al. 2014: of 1 to 10).
    calmest_share: float = 0.05
    multiples: tuple[float, ...] = (2.0, 3.0, 5.0, 8.0, 13.0, 21.0, 34.0, 55.0)
    rough_multiple: float = 5.0  # where any rest will do
    # The sine by which gravity may wander within a position (3 degrees shorten its mean by 0.1 mg), and the
    # one below which two neighbouring positions are the same.
    wander: float = 0.05
    same: float = 0.035
    part_s: float = 0.25  # means over parts of this length tell how exact the mean of a position is
    around_s: float = 0.5  # a position named by one instant: so much before and after it


@dataclass(frozen=True, eq=False, slots=True)
class Poses:
    """Static positions, in the unit of the recording and sensor axes.

    Parameters
    ----------
    spans : ndarray of int, shape (n, 2)
        First sample, and the one behind the last.
    time_s : ndarray, shape (n, 2)
        The same on the recording's clock [s].
    acceleration, angular_velocity : ndarray, shape (n, 3)
        Means.
    acceleration_spread : ndarray, shape (n, 3, 3)
        Covariance of the mean acceleration, from the scatter of parts of the position.
    shaking : ndarray, shape (n, 2)
        Standard deviation of single samples, all axes together: acceleration, angular velocity.
    """

    spans: Spans
    time_s: Floats
    acceleration: Floats
    angular_velocity: Floats
    acceleration_spread: Floats
    shaking: Floats

    def __post_init__(self) -> None:
        own(self.spans, self.time_s, self.acceleration, self.angular_velocity)
        own(self.acceleration_spread, self.shaking)

    def __len__(self) -> int:
        return len(self.spans)

    def only(self, kept: NDArray[np.bool_]) -> Poses:
        """Return some of the positions."""
        return Poses(
            self.spans[kept],
            self.time_s[kept],
            self.acceleration[kept],
            self.angular_velocity[kept],
            self.acceleration_spread[kept],
            self.shaking[kept],
        )


@dataclass(frozen=True, eq=False, slots=True)
class Calm:
    """How calm a recording is in windows of `window` samples that begin at ``hop * i``.

    `shaking` (shape (n, 2)) is the standard deviation over the window, acceleration and angular velocity;
    `mean` and `rate` (shape (n, 3)) the mean acceleration and angular velocity.
    """

    hop: int
    window: int
    shaking: Floats
    mean: Floats
    rate: Floats


def calmness(recording: Recording, settings: RestSettings) -> Calm:
    """Measure shaking in a sliding window; infinite where a sample of the window was not measured."""
    hop = max(1, round(settings.hop_s * recording.rate_hz))
    per_window = max(2, round(settings.window_s * recording.rate_hz / hop))
    count = len(recording.measured) // hop
    if count < per_window:
        return Calm(hop, per_window * hop, np.empty((0, 2)), np.empty((0, 3)), np.empty((0, 3)))
    shaking, means = [], []
    for values in (recording.acceleration_m_s2, recording.angular_velocity_rad_s):
        centre = values.mean(axis=0)  # counts lie far from zero, where squares lose digits
        blocks = (values[: count * hop] - centre).reshape(count, hop, 3)
        mean = _sliding(blocks.sum(axis=1), per_window) / (per_window * hop)
        square = _sliding(np.einsum("bsa,bsa->b", blocks, blocks)[:, np.newaxis], per_window)[:, 0]
        variance = square / (per_window * hop) - np.einsum("ba,ba->b", mean, mean)
        shaking.append(np.sqrt(np.maximum(variance, 0.0)))
        means.append(mean + centre)
    whole = np.asarray(recording.measured[: count * hop].reshape(count, hop).all(axis=1), dtype=np.float64)
    shaken: Floats = np.column_stack(shaking)
    complete = _sliding(whole[:, np.newaxis], per_window)[:, 0]
    shaken[complete < per_window - 0.5] = np.inf
    return Calm(hop, per_window * hop, shaken, *means)


def _sliding(blocks: Floats, width: int) -> Floats:
    total = np.concatenate((np.zeros((1, blocks.shape[1])), np.cumsum(blocks, axis=0)))
    return np.asarray(total[width:] - total[:-width])


def calmest(calm: Calm, settings: RestSettings) -> Floats:
    """Return the shaking of the calmest part, acceleration and angular velocity; empty where nothing was measured."""
    known = calm.shaking[np.isfinite(calm.shaking[:, 0])]
    return np.asarray(np.quantile(known, settings.calmest_share, axis=0)) if len(known) else np.empty(0)


def still_spans(calm: Calm, limits: Floats, gravity: float, rate_hz: float, settings: RestSettings) -> Spans:
    """Find the stretches that shake less than the limits.

    Parameters
    ----------
    calm : Calm
    limits : ndarray, shape (2,)
        Largest shaking: acceleration, angular velocity.
    gravity : float
        Length of gravity in the unit of the recording, roughly.
    rate_hz : float
    settings : RestSettings

    Returns
    -------
    ndarray of int, shape (n, 2)
        First sample, and the one behind the last.
    """
    return spans_where(calm, np.all(calm.shaking <= limits, axis=1), gravity, rate_hz, settings)


def spans_where(
    calm: Calm, still: NDArray[np.bool_], gravity: float, rate_hz: float, settings: RestSettings
) -> Spans:
    """Find the long stretches of windows that count as still, in which gravity does not wander."""
    begin, end = stretches(still).T
    spans = np.column_stack((begin * calm.hop, (end - 1) * calm.hop + calm.window))
    wander = np.linalg.norm(calm.mean[end - 1] - calm.mean[begin], axis=1)
    long = spans[:, 1] - spans[:, 0] >= settings.shortest_s * rate_hz
    edge = round(settings.edge_s * rate_hz)
    return np.asarray(spans[long & (wander <= settings.wander * gravity)] + [edge, -edge])


def poses_of(recording: Recording, spans: Spans, settings: RestSettings) -> Poses:
    """Measure what the sensor showed in each span."""
    part = max(1, round(settings.part_s * recording.rate_hz))
    acceleration, angular_velocity = np.empty((len(spans), 3)), np.empty((len(spans), 3))
    spread, shaking = np.zeros((len(spans), 3, 3)), np.empty((len(spans), 2))
    for i, (begin, end) in enumerate(spans):
        values = recording.acceleration_m_s2[begin:end]
        rates = recording.angular_velocity_rad_s[begin:end]
        acceleration[i], angular_velocity[i] = values.mean(axis=0), rates.mean(axis=0)
        shaking[i] = np.sqrt(values.var(axis=0).sum()), np.sqrt(rates.var(axis=0).sum())
        parts = values[: len(values) // part * part].reshape(-1, part, 3).mean(axis=1)
        if len(parts) > 1:
            spread[i] = np.cov(parts.T) / len(parts)
    return Poses(
        spans, recording.start_s + spans / recording.rate_hz, acceleration, angular_velocity, spread, shaking
    )


def merged(poses: Poses, gravity: float, settings: RestSettings) -> Spans:
    """Join neighbours in which gravity points the same way: one position, touched in between; keep the longest."""
    if not len(poses):
        return poses.spans
    moved = np.linalg.norm(np.diff(poses.acceleration, axis=0), axis=1) > settings.same * gravity
    group = np.concatenate(([0], np.cumsum(moved)))
    length = poses.spans[:, 1] - poses.spans[:, 0]
    longest = [
        int(np.flatnonzero(group == g)[np.argmax(length[group == g])]) for g in range(int(group[-1]) + 1)
    ]
    return np.asarray(poses.spans[longest])


def spans_at(recording: Recording, times_s: Sequence[tuple[float, float]], settings: RestSettings) -> Spans:
    """Return the samples of given times: spans, or instants where both times are equal.

    Raises
    ------
    SettingsError
        If a time lies outside the recording, or in a hole of it.
    """
    spans = []
    end_s = recording.start_s + len(recording.measured) / recording.rate_hz
    for from_s, to_s in times_s:
        around_s = settings.around_s if from_s == to_s else 0.0
        begin, end = (
            round((time_s - recording.start_s) * recording.rate_hz)
            for time_s in (from_s - around_s, to_s + around_s)
        )
        if begin < 0 or end > len(recording.measured) or end - begin < 2:
            message = (
                f"--times: found {from_s:g}-{to_s:g} s; wanted a span inside the recording, "
                f"{recording.start_s:.2f} to {end_s:.2f} s"
            )
            raise SettingsError(message)
        if not recording.measured[begin:end].all():
            message = (
                f"--times: samples are missing in {from_s:g}-{to_s:g} s; wanted a span without a hole; "
                "leave it out"
            )
            raise SettingsError(message)
        spans.append((begin, end))
    return np.array(spans, dtype=np.intp).reshape(-1, 2)
