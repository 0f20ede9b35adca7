"""Whether a recording of hours lay still, and from when to when."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.errors import SignalQualityError
from imustride.recording import stretches

if TYPE_CHECKING:
    from numpy.typing import NDArray

TRIADS = (slice(0, 3), slice(3, 6))
NAMES = ("accelerometer", "gyroscope")
WINDOW_S = 1.0
NOTHING = 1e-12


@dataclass(frozen=True, slots=True)
class StillnessSettings:
    """When a sensor counts as untouched. Common practice, no source."""

    shortest_s: float = 60.0
    # A window shakes when its scatter is this many times that of the calm ones, or beyond these limits, which
    # are some ten times the noise of the noisiest sensors sold for the purpose.
    multiple: float = 4.0
    calm_share: float = 0.2
    shaking_of_gravity: float = 0.05
    shaking_rad_s: float = 0.05
    # Gravity may wander by the sine of two degrees, the gyroscope by 1 deg/s (warming up); beyond, it was turned.
    tilt: float = 0.035
    turn_rad_s: float = 0.0175
    # More than any data sheet allows at rest: it turns, or the unit is wrong.
    largest_bias_rad_s: float = 0.35
    # The accelerometer lies still where this share of it does.
    steady_share: float = 0.9
    # Touched from both ends so many windows longer than it shook.
    margin: int = 1
    # A scatter of less than this part of the resolution is rounding, not noise.
    rounding: float = 0.5


@dataclass(frozen=True, slots=True)
class Still:
    """The longest stretch in which nobody touched the sensor: first sample, the one behind the last, remarks."""

    begin: int
    end: int
    notes: tuple[str, ...]


class Survey:
    """Means and scatter of every second of a recording that comes in blocks."""

    def __init__(self, window: int) -> None:
        self.window = window
        self._means: list[NDArray[np.float64]] = []
        self._scatter: list[NDArray[np.float64]] = []
        self._left = np.empty((0, 6))
        self.resolution = np.full(6, np.inf)
        self.count = 0

    def add(self, values: NDArray[np.float64]) -> None:
        """Add the next samples, shape (n, 6)."""
        self.count += len(values)
        steps = np.abs(np.diff(values, axis=0))
        self.resolution = np.minimum(self.resolution, np.min(steps, axis=0, where=steps > 0, initial=np.inf))
        joined = np.concatenate((self._left, values))
        whole = len(joined) // self.window
        windows = joined[: whole * self.window].reshape(whole, self.window, 6)
        if whole:
            self._means.append(windows.mean(axis=1))
            self._scatter.append(windows.std(axis=1))
        self._left = joined[whole * self.window :].copy()

    @property
    def means(self) -> NDArray[np.float64]:
        """Means of the windows, shape (n, 6)."""
        return np.concatenate(self._means) if self._means else np.empty((0, 6))

    @property
    def scatter(self) -> NDArray[np.float64]:
        """Standard deviations within the windows, shape (n, 6)."""
        return np.concatenate(self._scatter) if self._scatter else np.empty((0, 6))


def find_still(
    survey: Survey, rate_hz: float, *, in_counts: tuple[bool, bool], settings: StillnessSettings | None = None
) -> Still:
    """Find the longest stretch in which the sensor lay still.

    Parameters
    ----------
    survey : Survey
        SI units, except where in counts.
    rate_hz : float
    in_counts : tuple of bool
        Whether the accelerometer, the gyroscope are in counts.
    settings : StillnessSettings, optional

    Raises
    ------
    SignalQualityError
        If there is no still stretch that is long enough, an axis never changes, or the gyroscope shows
        a turn throughout.
    """
    settings = settings or StillnessSettings()
    window_s = survey.window / rate_hz
    if survey.count / rate_hz < settings.shortest_s:
        message = (
            f"{survey.count / rate_hz:.1f} s long; wanted at least {settings.shortest_s:.0f} s, better some hours, "
            "at rest on a firm table; record longer"
        )
        raise SignalQualityError(message)
    _refuse_shaking_gyroscope(survey, in_counts, settings)
    calm = _calm(survey, in_counts, settings)
    begin, end = _longest(calm & _same_attitude(survey, calm, in_counts, settings))
    begin += settings.margin if begin > 0 else 0
    end -= settings.margin if end < len(calm) else 0
    if (end - begin) * window_s < settings.shortest_s:
        message = (
            f"the sensor moved: still for {max(end - begin, 0) * window_s:.0f} s at most, wanted at least "
            f"{settings.shortest_s:.0f} s, better some hours; lay it on a firm table and leave it alone"
        )
        raise SignalQualityError(message)
    _refuse_turning(survey.means[begin:end], in_counts, settings)
    notes = _dead_axes(survey, begin, end, settings)
    if (begin, end) != (0, len(calm)):
        note = (
            f"used {begin * window_s:.0f} to {end * window_s:.0f} s of {survey.count / rate_hz:.0f} s; "
            "before or behind it the sensor was moved"
        )
        return Still(begin * survey.window, end * survey.window, (*notes, note))
    return Still(0, survey.count, notes)


def _refuse_shaking_gyroscope(
    survey: Survey, in_counts: tuple[bool, bool], settings: StillnessSettings
) -> None:
    """Where the accelerometer lies still and the gyroscope shakes, its unit is wrong, or it is broken."""
    if in_counts[1]:
        return
    shaking = np.linalg.norm(survey.scatter[:, TRIADS[1]], axis=1)
    level = survey.means[:, TRIADS[0]]
    usual = np.median(level, axis=0)
    length = float(np.linalg.norm(usual))
    steady = np.linalg.norm(level - usual, axis=1) <= settings.tilt * length
    steady &= np.linalg.norm(survey.scatter[:, TRIADS[0]], axis=1) <= settings.shaking_of_gravity * length
    if np.mean(steady) > settings.steady_share and np.median(shaking[steady]) > settings.shaking_rad_s:
        message = (
            f"the gyroscope shakes by {np.degrees(np.median(shaking[steady])):.0f} deg/s while the accelerometer lies "
            "still; wanted rest; correct the unit of the angular velocity"
        )
        raise SignalQualityError(message)


def _calm(survey: Survey, in_counts: tuple[bool, bool], settings: StillnessSettings) -> NDArray[np.bool_]:
    calm = np.ones(len(survey.means), dtype=bool)
    gravity = float(np.median(np.linalg.norm(survey.means[:, TRIADS[0]], axis=1)))
    for triad, limit in zip(
        TRIADS, (settings.shaking_of_gravity * gravity, settings.shaking_rad_s), strict=True
    ):
        shaking = np.linalg.norm(survey.scatter[:, triad], axis=1)
        step = survey.resolution[triad]
        usual = max(
            float(np.quantile(shaking, settings.calm_share)),
            float(np.linalg.norm(np.where(np.isfinite(step), settings.rounding * step, 0.0))),
        )
        calm &= shaking <= settings.multiple * usual
        if triad == TRIADS[0] or not in_counts[1]:
            calm &= shaking <= limit
    return calm


def _same_attitude(
    survey: Survey, calm: NDArray[np.bool_], in_counts: tuple[bool, bool], settings: StillnessSettings
) -> NDArray[np.bool_]:
    """Windows with gravity and rate as in the usual calm window."""
    if not calm.any():
        return calm
    acceleration, rate = (survey.means[:, triad] for triad in TRIADS)
    usual = np.median(acceleration[calm], axis=0)
    same: NDArray[np.bool_] = np.linalg.norm(acceleration - usual, axis=1) <= settings.tilt * np.linalg.norm(
        usual
    )
    if not in_counts[1]:
        same &= np.linalg.norm(rate - np.median(rate[calm], axis=0), axis=1) <= settings.turn_rad_s
    return same


def _longest(flags: NDArray[np.bool_]) -> tuple[int, int]:
    """Begin of the longest run of True and the index behind it."""
    spans = stretches(flags)
    if not len(spans):
        return 0, 0
    begin, end = spans[np.argmax(spans[:, 1] - spans[:, 0])]
    return int(begin), int(end)


def _refuse_turning(
    means: NDArray[np.float64], in_counts: tuple[bool, bool], settings: StillnessSettings
) -> None:
    rate = float(np.abs(np.median(means[:, TRIADS[1]], axis=0)).max())
    if not in_counts[1] and rate > settings.largest_bias_rad_s:
        message = (
            f"the gyroscope reads {np.degrees(rate):.0f} deg/s throughout; wanted rest; use a table that does not "
            "turn, or correct the unit of the angular velocity"
        )
        raise SignalQualityError(message)


def _dead_axes(survey: Survey, begin: int, end: int, settings: StillnessSettings) -> tuple[str, ...]:
    scatter = survey.scatter[begin:end]
    # The scatter of equal numbers is not quite zero: their mean is rounded.
    nothing = NOTHING * np.abs(survey.means[begin:end]).max(axis=0)
    dead = [_axis(axis) for axis in range(6) if scatter[:, axis].max() <= nothing[axis]]
    if dead:
        message = (
            f"{', '.join(dead)} never changes; wanted a signal with noise; is it at the end of its range, "
            "switched off, or the wrong column?"
        )
        raise SignalQualityError(message)
    usual = np.median(scatter, axis=0)
    coarse = [_axis(axis) for axis in range(6) if usual[axis] < settings.rounding * survey.resolution[axis]]
    if not coarse:
        return ()
    note = (
        f"{', '.join(coarse)}: noise below half a step of the resolution, so the figures are those of rounding; "
        "set a smaller range or log more digits"
    )
    return (note,)


def _axis(axis: int) -> str:
    return f"axis {'xyz'[axis % 3]} of the {NAMES[axis // 3]}"
