"""Signals of one sensor: as logged, and as evenly sampled on the sensor's own clock."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from imustride.session import Sensor

# Samples worked on at a time in long signals: what is made on the way stays in the processor's cache,
# and hours need no more memory than seconds.
PIECE = 8192
# Matrix products of more multiplications are split among threads by numpy's usual library, which on a busy
# machine takes several times longer than doing them alone (measured: the whole analysis four times).
ALONE = 250_000


def own(*arrays: NDArray[Any]) -> None:
    """Make arrays read-only: a record takes ownership of what it is given."""
    for array in arrays:
        array.setflags(write=False)


def pieces(count: int, length: int = PIECE) -> Iterator[slice]:
    """Give the slices that cut `count` samples into pieces of a length."""
    for start in range(0, count, length):
        yield slice(start, min(start + length, count))


def stretches(flags: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return every stretch of True: its first sample and the one behind its last, shape (n, 2).

    Examples
    --------
    >>> stretches(np.array([True, False, True, True])).tolist()
    [[0, 1], [2, 4]]
    """
    change = np.diff(flags.astype(np.int8), prepend=0, append=0)
    return np.column_stack((np.flatnonzero(change == 1), np.flatnonzero(change == -1)))


@dataclass(frozen=True, eq=False, slots=True)
class SensorLog:
    """One sensor's file content in SI units, time stamps as found.

    Where the sensor's units are counts, values stay counts until its calibration is applied.

    Parameters
    ----------
    sensor : Sensor
        Declaration of the sensor in the session.
    time_s : ndarray, shape (n,)
        Time stamps on the sensor's own clock [s]; may be uneven, repeated or step over gaps.
    acceleration_m_s2 : ndarray, shape (n, 3)
        Specific force in sensor axes [m/s^2]; at rest +g upwards. NaN where missing.
    angular_velocity_rad_s : ndarray, shape (n, 3)
        Angular velocity in sensor axes [rad/s]. NaN where missing.
    source : str
        File (and group) the samples came from, for messages.
    notes : tuple of str
        What the reader found and left out.
    """

    sensor: Sensor
    time_s: NDArray[np.float64]
    acceleration_m_s2: NDArray[np.float64]
    angular_velocity_rad_s: NDArray[np.float64]
    source: str = ""
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        own(self.time_s, self.acceleration_m_s2, self.angular_velocity_rad_s)


@dataclass(frozen=True, slots=True)
class Rest:
    """The sensor at rest, in the units of the recording.

    Parameters
    ----------
    duration_s : float
        Time at rest, all pieces together [s].
    gravity : float
        Length of the mean acceleration.
    up : str
        Sensor axis nearest to vertical, such as ``+z``.
    tilt_deg : float
        Angle between that axis and vertical [deg].
    acceleration_noise, angular_velocity_noise : float
        Standard deviation of one axis, root mean square over the three.
    angular_velocity_bias : tuple of float
        Mean angular velocity.
    """

    duration_s: float
    gravity: float
    up: str
    tilt_deg: float
    acceleration_noise: float
    angular_velocity_noise: float
    angular_velocity_bias: tuple[float, float, float]


@dataclass(frozen=True, eq=False, slots=True)
class SamplingQuality:
    """What was found in the time stamps and samples of one log; counts and seconds, and what its reader remarked."""

    stamps: int = 0
    jitter_sd_s: float = 0.0
    duplicates: int = 0
    missing_samples: int = 0
    gaps: tuple[tuple[float, float], ...] = ()  # measured samples around each masked hole, own clock [s]
    bridged: int = 0  # short gaps filled by interpolation
    clipped_samples: int = 0
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False, slots=True)
class Recording:
    """One sensor's signals, evenly sampled on the sensor's own clock.

    Sample i lies at ``start_s + i / rate_hz``. Masked samples hold interpolated values, so that
    filters do not break, and are False in `measured`.

    Parameters
    ----------
    sensor : Sensor
    start_s : float
        Time of the first sample on the sensor's own clock [s].
    rate_hz : float
        True sampling rate on that clock [Hz].
    acceleration_m_s2, angular_velocity_rad_s : ndarray, shape (n, 3)
        Specific force [m/s^2] and angular velocity [rad/s], sensor axes. Each axis lies in one piece in
        memory (column-major), which makes work on one axis several times faster.
    measured : ndarray of bool, shape (n,)
        False inside gaps too long to bridge.
    clipped : ndarray of bool, shape (n, 2)
        True where any axis sits at the end of its range: acceleration, angular velocity.
    quality : SamplingQuality
    """

    sensor: Sensor
    start_s: float
    rate_hz: float
    acceleration_m_s2: NDArray[np.float64]
    angular_velocity_rad_s: NDArray[np.float64]
    measured: NDArray[np.bool_]
    clipped: NDArray[np.bool_]
    quality: SamplingQuality = field(default_factory=SamplingQuality)

    def __post_init__(self) -> None:
        own(self.acceleration_m_s2, self.angular_velocity_rad_s, self.measured, self.clipped)

    @property
    def place(self) -> str:
        """Place on the body, such as ``left_skate``."""
        return self.sensor.place

    @property
    def time_s(self) -> NDArray[np.float64]:
        """Sample times on the sensor's own clock [s], shape (n,)."""
        return self.start_s + np.arange(len(self.measured)) / self.rate_hz

    def index(self, time_s: float) -> int:
        """Return the nearest sample to a time on the own clock, clamped to the recording."""
        return int(np.clip(round((time_s - self.start_s) * self.rate_hz), 0, len(self.measured) - 1))
