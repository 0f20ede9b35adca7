"""The joint fit: both skates, the lane, each other's reach, the gates and the stop.

A sparse problem kept small: every skate's path is linear in some forty unknowns, so Gauss-Newton
on the dense normal equations takes milliseconds.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import ALONE, pieces
from imustride.trajectory.skate import LEVER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from imustride.trajectory.settings import TrackSettings
    from imustride.trajectory.skate import Course

OFFSET, LEAD = 0, 1  # of the gates' unknowns: clock offset [s], body before the feet and start line [m]


@dataclass(frozen=True, eq=False, slots=True)
class Gates:
    """Positions [m] and times [s, timing clock] of the gates; how far behind the first the skater stood."""

    position_m: NDArray[np.float64]
    time_s: NDArray[np.float64]
    start_behind_m: float | None = None


@dataclass(frozen=True, eq=False, slots=True)
class Solution:
    """Unknowns of all skates and the gates, one after the other, and their covariance."""

    value: NDArray[np.float64]
    covariance: NDArray[np.float64]
    slip_rms_m_s: float


class Normal:
    """Normal equations that residuals are added to."""

    def __init__(self, spread: NDArray[np.float64]) -> None:
        self.left = np.diag(spread**-2.0)
        self.right = np.zeros(len(spread))

    def add(
        self, by: NDArray[np.float64], miss: NDArray[np.float64], weight: NDArray[np.float64] | float
    ) -> None:
        """Add residuals `miss` with derivatives `by`, shape (m, unknowns), and inverse variances."""
        weight = np.broadcast_to(weight, miss.shape)
        for rows in pieces(len(by), max(ALONE // by.shape[1] ** 2, 1)):
            scaled = by[rows] * weight[rows, None]
            self.left += scaled.T @ by[rows]
            self.right -= scaled.T @ miss[rows]


def solve(
    courses: Sequence[Course],
    on_ice: Sequence[NDArray[np.bool_]],
    stopped: Sequence[bool],
    strides_s: NDArray[np.float64],
    gates: Gates | None,
    settings: TrackSettings,
) -> Solution:
    """Fit the unknowns of all skates together.

    Parameters
    ----------
    courses : sequence of Course
        One or two skates; with two, left first.
    on_ice : sequence of ndarray of bool
        Nodes well inside contacts.
    stopped : sequence of bool
        Whether the last node of each course stands still.
    strides_s : ndarray, shape (k,)
        Times that part the run into strides, reference clock [s].
    gates : Gates, optional
    settings : TrackSettings
    """
    sizes = [len(course.spread) for course in courses]
    begin = np.concatenate(([0], np.cumsum(sizes)))
    count = int(begin[-1]) + (2 if gates is not None else 0)
    spread = np.concatenate(
        [course.spread for course in courses] + ([gate_spread(gates, settings)] if gates else [])
    )
    value = np.zeros(count)
    for _ in range(settings.steps):
        normal = Normal(spread)
        normal.right -= value / spread**2
        slips = []
        for k, course in enumerate(courses):
            own = slice(begin[k], begin[k + 1])
            slip, angle, angle_by, sd = drift_angle(course, value[own], settings)
            weight = on_ice[k] / (1 + (angle / (2.5 * sd)) ** 2) ** 2 / sd**2
            weight = weight * settings.step_s / settings.slip_independent_s
            normal.add(padded(angle_by, begin[k], count), angle, weight)
            slips.append(slip[on_ice[k]])
            if stopped[k]:
                speed = course.velocity_m_s[-1] + course.velocity_by[-1] @ value[own]
                normal.add(padded(course.velocity_by[-1], begin[k], count), speed, settings.stop_sd_m_s**-2)
        keep_together(normal, courses, begin, value, settings)
        if len(courses) == 2:
            keep_beside(normal, courses, begin, value, strides_s, settings)
        if gates is not None:
            pass_gates(normal, courses, begin, value, gates, settings)
        value = value + np.linalg.solve(normal.left, normal.right)
    rms = float(np.sqrt(np.median(np.concatenate(slips) ** 2)) * 1.4826) if slips else np.nan
    return Solution(value, np.asarray(np.linalg.inv(normal.left), float), rms)


def drift_angle(
    course: Course, value: NDArray[np.float64], settings: TrackSettings
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Slip [m/s], slip against speed [rad], its derivatives and its standard deviation at nodes.

    The angle is what is held at zero, not the slip: a fit to the slip itself would make every blade slower,
    since slowing down shrinks what errors of heading leave over.
    """
    slip = course.slip_m_s + course.slip_by @ value
    velocity = course.velocity_m_s + course.velocity_by @ value
    speed = np.sqrt((velocity**2).sum(axis=1) + settings.slow_m_s**2)
    along_by = np.einsum("ni,nik->nk", velocity, course.velocity_by)
    by = course.slip_by / speed[:, None] - (slip / speed**3)[:, None] * along_by
    # Which point of a turning blade slides is known to some centimetres only.
    swept = settings.sliding_point_sd_m * course.slip_by[:, LEVER]
    sd = np.sqrt((settings.slip_sd_m_s**2 + swept**2) / speed**2 + settings.heading_sd_rad**2)
    return slip, slip / speed, by, sd


def padded(by: NDArray[np.float64], begin: int, count: int) -> NDArray[np.float64]:
    """Derivatives by one skate's unknowns among all, shape (m, count)."""
    out = np.zeros((len(by), count))
    out[:, begin : begin + by.shape[1]] = by
    return out


def at_times(
    course: Course, values: NDArray[np.float64], times_s: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Interpolate node values, shape (n, ...), at times on the reference clock."""
    place = np.interp(times_s, course.time_s, np.arange(len(course.time_s)))
    low = np.minimum(place.astype(int), len(course.time_s) - 2)
    share = (place - low).reshape(-1, *[1] * (values.ndim - 1))
    return np.asarray(values[low] * (1 - share) + values[low + 1] * share)


def middle(
    courses: Sequence[Course],
    begin: NDArray[np.int64],
    value: NDArray[np.float64],
    times_s: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Position of the middle of the feet, its derivatives by all unknowns, and its velocity at times."""
    share = 1 / len(courses)
    position = np.zeros((len(times_s), 2))
    velocity = np.zeros((len(times_s), 2))
    by = np.zeros((len(times_s), 2, len(value)))
    for k, course in enumerate(courses):
        own = slice(begin[k], begin[k + 1])
        position_by = at_times(course, course.position_by, times_s)
        position += share * (at_times(course, course.position_m, times_s) + position_by @ value[own])
        speed = course.velocity_m_s + course.velocity_by @ value[own]
        velocity += share * at_times(course, speed, times_s)
        by[:, :, own] += share * position_by
    return position, by, velocity


def keep_together(
    normal: Normal,
    courses: Sequence[Course],
    begin: NDArray[np.int64],
    value: NDArray[np.float64],
    settings: TrackSettings,
) -> None:
    """Add: the feet stay near the lane, and two feet within reach of each other."""
    first = max(course.time_s[0] for course in courses)
    last = min(course.time_s[-1] for course in courses)
    times = np.arange(first, last, 0.1)
    position, by, _ = middle(courses, begin, value, times)
    normal.add(by[:, 1], position[:, 1], 0.1 / settings.lane_independent_s / settings.lane_sd_m**2)
    if len(courses) == 2:
        places, bys = [], []
        for k, course in enumerate(courses):
            own = slice(begin[k], begin[k + 1])
            position_by = at_times(course, course.position_by, times)
            places.append(at_times(course, course.position_m, times) + position_by @ value[own])
            wide = np.zeros((len(times), 2, len(value)))
            wide[:, :, own] = position_by
            bys.append(wide)
        apart, apart_by = places[0] - places[1], bys[0] - bys[1]
        for axis, usual in ((0, 0.0), (1, settings.apart_m)):
            weight = 0.1 / settings.reach_independent_s / settings.reach_sd_m[axis] ** 2
            normal.add(apart_by[:, axis], apart[:, axis] - usual, weight)


def keep_beside(
    normal: Normal,
    courses: Sequence[Course],
    begin: NDArray[np.int64],
    value: NDArray[np.float64],
    strides_s: NDArray[np.float64],
    settings: TrackSettings,
) -> None:
    """Add: over a whole stride neither foot is ahead, and the feet stay equally far apart sideways.

    The feet swing to and fro within a stride, which says nothing; what their mean does from stride to
    stride would be a difference of direction.
    """
    for begin_s, end_s in itertools.pairwise(strides_s):
        times = np.linspace(begin_s, end_s, 24, endpoint=False)
        apart = np.zeros(2)
        by = np.zeros((2, len(value)))
        for k, (course, sign) in enumerate(zip(courses, (1.0, -1.0), strict=True)):
            own = slice(begin[k], begin[k + 1])
            position_by = at_times(course, course.position_by, times).mean(axis=0)
            apart += sign * (
                at_times(course, course.position_m, times).mean(axis=0) + position_by @ value[own]
            )
            by[:, own] += sign * position_by
        apart[1] -= settings.apart_m
        for axis in (0, 1):
            normal.add(by[axis : axis + 1], apart[axis : axis + 1], settings.beside_sd_m[axis] ** -2)


def gate_spread(gates: Gates, settings: TrackSettings) -> NDArray[np.float64]:
    """Spread of the clock offset (free) and of the body's place against the feet at the start line."""
    known = gates.start_behind_m is not None
    behind = settings.start_behind_known_sd_m if known else settings.start_behind_sd_m
    return np.array([100.0, np.hypot(settings.lead_sd_m, behind)])


def pass_gates(
    normal: Normal,
    courses: Sequence[Course],
    begin: NDArray[np.int64],
    value: NDArray[np.float64],
    gates: Gates,
    settings: TrackSettings,
) -> None:
    """Add: the body passes the gates at their times; clock offset and lead are fitted along."""
    at = begin[-1]
    behind = settings.start_behind_m if gates.start_behind_m is None else gates.start_behind_m
    if value[at + OFFSET] == 0.0:
        value[at + OFFSET] = first_passage(courses, begin, value, behind - settings.lead_m) - gates.time_s[0]
    times = gates.time_s + value[at + OFFSET]
    position, by, velocity = middle(courses, begin, value, times)
    miss = position[:, 0] + settings.lead_m + value[at + LEAD] - behind - gates.position_m
    by = by[:, 0].copy()
    by[:, at + OFFSET] = np.maximum(velocity[:, 0], 0.5)
    by[:, at + LEAD] = 1.0
    normal.add(by, miss, settings.gate_sd_m**-2)


def first_passage(
    courses: Sequence[Course], begin: NDArray[np.int64], value: NDArray[np.float64], distance_m: float
) -> float:
    """Time at which the middle of the feet first lies this far along the lane [s]."""
    times = np.arange(courses[0].time_s[0], courses[0].time_s[-1], 0.02)
    position, _, _ = middle(courses, begin, value, times)
    return float(times[np.argmax(position[:, 0] > distance_m)])
