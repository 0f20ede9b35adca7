"""The rest of the body: segments with a sensor on them, in the lane, on the clock of the run."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import own

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from imustride.kinematics import Clock


@dataclass(frozen=True, eq=False, slots=True)
class Fitting:
    """How a sensor sits on its segment, as standing and simple movements show it.

    Parameters
    ----------
    segment_from_sensor : ndarray, shape (3, 3)
        Segment: x forward, y left, z up when standing straight.
    upright : bool
        Whether straight-legged standing showed the long axis; else z is the vertical of the quiet stance.
    forward_sd_rad : float
        Standard deviation of the forward axis about the long axis [rad]; inf where nothing showed it.
    movements : int
        How many movements showed the forward axis.
    problem : str
        What speaks against it, in words; empty where nothing does.
    """

    segment_from_sensor: NDArray[np.float64]
    upright: bool
    forward_sd_rad: float
    movements: int = 0
    problem: str = ""

    def __post_init__(self) -> None:
        own(self.segment_from_sensor)


@dataclass(frozen=True, eq=False, slots=True)
class Segment:
    """One segment of the body in a run.

    Parameters
    ----------
    place : str
        As in ``session.toml``.
    clock : Clock
        From the sensor's own clock to that of the run.
    start_s, rate_hz : float
        Sample i lies at ``start_s + i / rate_hz`` on the own clock [s].
    lane_from_segment : ndarray, shape (n, 3, 3)
        Attitude; lane: x along it, y left, z up.
    acceleration_m_s2 : ndarray, shape (n, 3)
        Acceleration of the sensor in the lane, gravity taken off.
    measured : ndarray of bool, shape (n,)
        False in gaps and where the turning was clipped.
    fitting : Fitting
    heading_sd_rad : float
        Standard deviation of the heading against the lane [rad].
    """

    place: str
    clock: Clock
    start_s: float
    rate_hz: float
    lane_from_segment: NDArray[np.float64]
    acceleration_m_s2: NDArray[np.float64]
    measured: NDArray[np.bool_]
    fitting: Fitting
    heading_sd_rad: float = 0.0

    def __post_init__(self) -> None:
        own(self.lane_from_segment, self.acceleration_m_s2, self.measured)

    @property
    def time_s(self) -> NDArray[np.float64]:
        """Sample times on the run's clock [s], shape (n,)."""
        own_s = self.start_s + np.arange(len(self.measured)) / self.rate_hz
        return np.asarray(self.clock.reference(own_s))

    def places(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return where times of the run's clock lie among the samples, fractional; NaN outside."""
        place = (self.clock.own(np.asarray(times_s)) - self.start_s) * self.rate_hz
        inside = (place >= 0) & (place <= len(self.measured) - 1)
        return np.where(inside, place, np.nan)

    def attitude(self, times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return ``lane_from_segment`` at times of the run's clock, shape (k,) to (k, 3, 3); NaN outside and in gaps.

        Between two samples the matrices are mixed and made orthonormal again.
        """
        place = self.places(times_s)
        known = np.isfinite(place)
        low = np.minimum(np.where(known, place, 0).astype(int), len(self.measured) - 2)
        share = (np.where(known, place, 0) - low)[:, None, None]
        mixed = self.lane_from_segment[low] * (1 - share) + self.lane_from_segment[low + 1] * share
        up = unit(mixed[:, :, 2])
        left = unit(np.cross(up, mixed[:, :, 0]))
        out = np.stack((np.cross(left, up), left, up), axis=2)
        out[~(known & self.measured[low] & self.measured[low + 1])] = np.nan
        return out


def unit(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return vectors of length 1, shape (n, 3)."""
    return np.asarray(vectors / np.linalg.norm(vectors, axis=1, keepdims=True))


@dataclass(frozen=True, eq=False, slots=True)
class Lengths:
    """Lengths of the leg's segments [m], by side; `source`: ``measured``, ``height`` (from body height) or empty."""

    thigh_m: Mapping[str, float] = field(default_factory=dict)
    shank_m: Mapping[str, float] = field(default_factory=dict)
    source: str = ""


@dataclass(frozen=True, eq=False, slots=True)
class Body:
    """All segments of one run that were worn and could be used; `problems` says of the others why not."""

    segments: Mapping[str, Segment]
    lengths: Lengths
    problems: Mapping[str, str] = field(default_factory=dict)
