"""The middle of the feet, and the body that goes with it once the steps are averaged out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.trajectory.skate import running_integral

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from imustride.trajectory.skate import Course


@dataclass(frozen=True, eq=False, slots=True)
class Middle:
    """Middle of the feet at even times on the reference clock, and its derivatives by all unknowns.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
    position_m : ndarray, shape (n, 2)
        Lane frame, first guess.
    by : ndarray, shape (n, 2, unknowns)
    """

    time_s: NDArray[np.float64]
    position_m: NDArray[np.float64]
    by: NDArray[np.float64]

    def at(self, value: NDArray[np.float64]) -> NDArray[np.float64]:
        """Position for given unknowns [m], shape (n, 2)."""
        return np.asarray(self.position_m + self.by @ value)


def at_times(
    course: Course, values: NDArray[np.float64], times_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Interpolate node values, shape (n, ...), at times on the reference clock."""
    return interpolated(course.time_s, values, times_s)


def interpolated(
    time_s: NDArray[np.float64], values: NDArray[np.float64], at_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Interpolate values, shape (n, ...), linearly along the first axis; constant beyond the ends."""
    place = np.interp(at_s, time_s, np.arange(len(time_s)))
    low = np.minimum(place.astype(int), len(time_s) - 2)
    share = (place - low).reshape(-1, *[1] * (values.ndim - 1))
    return np.asarray(values[low] * (1 - share) + values[low + 1] * share)


def middle(courses: Sequence[Course], unknowns: int, step_s: float) -> Middle:
    """Return the middle of the feet while all skates were tracked.

    Parameters
    ----------
    courses : sequence of Course
        One or two; one stands for itself.
    unknowns : int
        Of all skates and the gates together.
    step_s : float
        Between the times [s].
    """
    first = max(course.time_s[0] for course in courses)
    last = min(course.time_s[-1] for course in courses)
    times = np.arange(first, last, step_s)
    position = np.zeros((len(times), 2))
    by = np.zeros((len(times), 2, unknowns))
    begin = 0
    for course in courses:
        own = slice(begin, begin + len(course.spread))
        position += at_times(course, course.position_m, times) / len(courses)
        by[:, :, own] = at_times(course, course.position_by, times) / len(courses)
        begin = own.stop
    return Middle(times, position, by)


def averaged(
    time_s: NDArray[np.float64],
    values: NDArray[np.float64],
    at_s: NDArray[np.float64],
    width_s: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Mean of values, shape (n, ...), over a window around each time; the window narrows towards the end.

    Before the first time everything stands.
    """
    half = np.minimum(0.5 * width_s, np.maximum(time_s[-1] - at_s, 0.5 * (time_s[1] - time_s[0])))
    total = running_integral(values, float(time_s[1] - time_s[0]))
    low, high = at_s - half, np.minimum(at_s + half, time_s[-1])
    shape = (-1, *[1] * (values.ndim - 1))
    standing = np.maximum(time_s[0] - low, 0.0).reshape(shape) * values[0]
    between = interpolated(time_s, total, high) - interpolated(time_s, total, low) + standing
    return np.asarray(between / (high - low).reshape(shape))


def stride_at(
    times_s: NDArray[np.float64], on_s: Sequence[NDArray[np.float64]], usual_s: float
) -> NDArray[np.float64]:
    """Stride time around each time [s], from the blade-ons of each foot on the reference clock."""
    middles, strides = [], []
    for own in on_s:
        known = own[np.isfinite(own)]
        middles.append(0.5 * (known[1:] + known[:-1]))
        strides.append(np.diff(known))
    at, stride = np.concatenate(middles), np.concatenate(strides)
    if not len(at):
        return np.full(len(times_s), usual_s)
    order = np.argsort(at)
    return np.interp(times_s, at[order], stride[order])


def steps_averaged_out(feet: Middle, stride_s: NDArray[np.float64]) -> Middle:
    """Return the middle of the feet without their steps: how the body goes.

    The mean over a whole stride is free of the steps but bends the path where the speed changes; what it
    does to its own result is taken off once.

    Parameters
    ----------
    feet : Middle
    stride_s : ndarray, shape (n,)
        Stride time at the times of `feet`.
    """
    flat = np.concatenate((feet.position_m[:, :, None], feet.by), axis=2)
    once = averaged(feet.time_s, flat, feet.time_s, stride_s)
    smooth = 2 * once - averaged(feet.time_s, once, feet.time_s, stride_s)
    return Middle(feet.time_s, smooth[:, :, 0], smooth[:, :, 1:])
