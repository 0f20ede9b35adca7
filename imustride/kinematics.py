"""What the stages hand to each other: clocks, the moving skate, contacts and pushes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from imustride.recording import own

if TYPE_CHECKING:
    from numpy.typing import NDArray

Side = Literal["left", "right"]


@dataclass(frozen=True, slots=True)
class Clock:
    """Affine map from a sensor's own clock to the run's reference clock.

    ``reference = own + offset_s + drift * (own - at_s)``; `sd_s` is the standard deviation of the
    joined time inside the run [s]. `joined` is False where no shared shock was found: then the
    map is the identity and times of different sensors must not be compared.
    """

    offset_s: float = 0.0
    drift: float = 0.0
    at_s: float = 0.0
    sd_s: float = 0.0
    joined: bool = True

    def reference(self, own_s: NDArray[np.float64] | float) -> NDArray[np.float64] | float:
        """Times on the reference clock [s] of times on the own clock [s]."""
        return own_s + self.offset_s + self.drift * (own_s - self.at_s)

    def own(self, reference_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Times on the own clock [s] of times on the reference clock [s]."""
        return np.asarray((reference_s - self.offset_s + self.drift * self.at_s) / (1.0 + self.drift))


@dataclass(frozen=True, eq=False, slots=True)
class SharedShocks:
    """Shocks that two sensors felt together, and what they say of the second clock against the first.

    Parameters
    ----------
    shared_s : ndarray, shape (k,)
        Times of the shared shocks on the first clock [s].
    blows : ndarray, shape (m, 3)
        Every sharp blow: time on the first clock [s], its size on either sensor [m/s^2], 0 where not felt.
    before, after : int
        How many of the shared ones lie before and after the run (all before, where nobody skated).
    offset_s, offset_sd_s : float
        First clock minus second in the middle of the run [s]; NaN where no shock is shared.
    drift, drift_sd : float
        Rate of the first clock against the second minus one; NaN where the shocks lie on one side of the run.
    """

    shared_s: NDArray[np.float64]
    blows: NDArray[np.float64]
    before: int
    after: int
    offset_s: float
    offset_sd_s: float
    drift: float
    drift_sd: float

    def __post_init__(self) -> None:
        own(self.shared_s, self.blows)


@dataclass(frozen=True, slots=True)
class Cut:
    """Where one sensor's run lies, on its own clock [s].

    The quiet stance before the start, the span in which the feet move, and the quiet stance after
    the stop (None where the log ends before).
    """

    stance_s: tuple[float, float]
    motion_s: tuple[float, float]
    stop_s: tuple[float, float] | None = None


@dataclass(frozen=True, eq=False, slots=True)
class Kinematics:
    """One skate, levelled and aligned, on its sensor's own clock.

    Parameters
    ----------
    side : "left" or "right"
    start_s, rate_hz : float
        Sample i lies at ``start_s + i / rate_hz`` [s], own clock.
    acceleration_m_s2, angular_velocity_rad_s : ndarray, shape (n, 3)
        Specific force and angular velocity in segment axes (x forward, y left, z up).
    earth_from_segment : ndarray, shape (n, 3, 3)
        Attitude; earth z up, earth x the skate's own heading in the quiet stance.
    velocity_m_s : ndarray, shape (n, 3)
        Velocity of the middle of the blade in that earth frame; zero before the motion. It drifts
        slowly (sensor bias), so differences over a stride mean more than levels.
    measured : ndarray of bool, shape (n,)
    clipped : ndarray of bool, shape (n, 2)
        Acceleration, angular velocity at the end of its range.
    cut : Cut
    bandwidth_hz : float
        Declared or estimated low pass of the device [Hz]; inf where none was found.
    forward_sd_rad : float
        Standard deviation of the forward axis about the vertical [rad].
    velocity_until_s : float
        Until here the horizontal velocity is held by the fit; later it drifts freely [s].
    rocker_radius_m : float or None
        Radius of the curve of the running edge [m]; None where nobody said.
    """

    side: Side
    start_s: float
    rate_hz: float
    acceleration_m_s2: NDArray[np.float64]
    angular_velocity_rad_s: NDArray[np.float64]
    earth_from_segment: NDArray[np.float64]
    velocity_m_s: NDArray[np.float64]
    measured: NDArray[np.bool_]
    clipped: NDArray[np.bool_]
    cut: Cut
    position_m: tuple[float, float, float] | None = None
    bandwidth_hz: float = np.inf
    forward_sd_rad: float = 0.0
    velocity_until_s: float = np.inf
    rocker_radius_m: float | None = None

    def __post_init__(self) -> None:
        own(
            self.acceleration_m_s2,
            self.angular_velocity_rad_s,
            self.earth_from_segment,
            self.velocity_m_s,
            self.measured,
            self.clipped,
        )

    @property
    def time_s(self) -> NDArray[np.float64]:
        """Sample times on the own clock [s], shape (n,)."""
        return self.start_s + np.arange(len(self.measured)) / self.rate_hz


@dataclass(frozen=True, eq=False, slots=True)
class BladePath:
    """Where one blade was, in the lane: x along it, y left; nodes on the skate's own clock.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    position_m, velocity_m_s : ndarray, shape (n, 2)
        Middle of the blade's running edge.
    heading_rad : ndarray, shape (samples,)
        Running direction of the blade at every sample of the kinematics, counter-clockwise from the lane.
    root : ndarray, shape (n, 2, k)
        Square root of the covariance of the position [m]: errors of two instants hang together.
    heading_root : ndarray, shape (n, k)
        The same for the heading [rad], without the lane's own error.
    lane_sd_rad : float
        Standard deviation of the lane's direction, one shared error of both feet.
    """

    time_s: NDArray[np.float64]
    position_m: NDArray[np.float64]
    velocity_m_s: NDArray[np.float64]
    heading_rad: NDArray[np.float64]
    root: NDArray[np.float64]
    heading_root: NDArray[np.float64]
    lane_sd_rad: float

    def __post_init__(self) -> None:
        own(self.time_s, self.position_m, self.velocity_m_s, self.heading_rad, self.root, self.heading_root)

    def at(self, values: NDArray[np.float64], times_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Interpolate node values, shape (n, ...), at times; NaN outside the path and for NaN."""
        inside = (times_s >= self.time_s[0]) & (times_s <= self.time_s[-1])
        place = np.interp(np.where(inside, times_s, self.time_s[0]), self.time_s, np.arange(len(self.time_s)))
        low = np.minimum(place.astype(int), len(self.time_s) - 2)
        share = np.where(inside, place - low, np.nan).reshape(-1, *[1] * (values.ndim - 1))
        return np.asarray(values[low] * (1 - share) + values[low + 1] * share)


@dataclass(frozen=True, eq=False, slots=True)
class Gates:
    """Timing gates of a run.

    Parameters
    ----------
    position_m, time_s : ndarray, shape (n,)
        Along the lane from the first gate [m]; when the body passed it, on the timing system's clock [s].
    start_behind_m : float or None
        How far behind the first gate the skater stood; None where nobody said.
    """

    position_m: NDArray[np.float64]
    time_s: NDArray[np.float64]
    start_behind_m: float | None = None


@dataclass(frozen=True, eq=False, slots=True)
class BodyPath:
    """How the body went along the lane: the middle of the feet, their steps averaged out.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Reference clock [s].
    position_m, speed_m_s : ndarray, shape (n,)
        Along the lane, from the feet's middle in the stance.
    speed_sd_m_s : ndarray, shape (n,)
        Standard deviation of the speed, with what the feet cannot know of the body.
    position_root, speed_root : ndarray, shape (n, k)
        Square roots of the covariances that the fit knows of [m], [m/s].
    gate_m, gate_s : ndarray, shape (g,)
        Where the gates stand along the lane [m], and when the body passed them on the reference clock [s]; empty without.
    gate_miss_m : ndarray, shape (g,)
        What the fit leaves over at each gate [m].
    """

    time_s: NDArray[np.float64]
    position_m: NDArray[np.float64]
    speed_m_s: NDArray[np.float64]
    speed_sd_m_s: NDArray[np.float64]
    position_root: NDArray[np.float64]
    speed_root: NDArray[np.float64]
    gate_m: NDArray[np.float64]
    gate_s: NDArray[np.float64]
    gate_miss_m: NDArray[np.float64]

    def __post_init__(self) -> None:
        own(
            self.time_s,
            self.position_m,
            self.speed_m_s,
            self.speed_sd_m_s,
            self.position_root,
            self.speed_root,
        )
        own(self.gate_m, self.gate_s, self.gate_miss_m)
