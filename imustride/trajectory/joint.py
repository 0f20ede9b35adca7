"""The joint fit: both skates, the lane, each other's reach, the gates and the stop.

A sparse problem kept small: every skate's path is linear in some forty unknowns, so Gauss-Newton
on the dense normal equations takes milliseconds.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import ALONE, pieces
from imustride.trajectory.gates import gate_spread, pass_gates
from imustride.trajectory.middle import at_times, middle, steps_averaged_out, stride_at
from imustride.trajectory.skate import LEVER

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from imustride.kinematics import Gates
    from imustride.trajectory.middle import Middle
    from imustride.trajectory.settings import TrackSettings
    from imustride.trajectory.skate import Course


@dataclass(frozen=True, eq=False, slots=True)
class Rhythm:
    """Blade-ons of each foot on the reference clock [s], which part the run into strides.

    `end_s`: the last blade-off of either foot.
    """

    on_s: tuple[NDArray[np.float64], ...]
    end_s: float
    usual_stride_s: float

    @property
    def strides_s(self) -> NDArray[np.float64]:
        """Begin and end of every stride of either foot [s], shape (strides, 2)."""
        known = [own[np.isfinite(own)] for own in self.on_s]
        return np.concatenate([np.column_stack((own[:-1], own[1:])) for own in known])

    def stride_s(self, at_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Stride time around each time [s]."""
        return stride_at(at_s, self.on_s, self.usual_stride_s)


@dataclass(frozen=True, eq=False, slots=True)
class Solution:
    """Unknowns of all skates and the gates, one after the other, their covariance, and what is left over.

    `gate_miss_m` and `gate_s`: at each gate (NaN behind the end of the track), and when it was passed on the
    reference clock; empty without gates.
    `rejected`: share of a foot's sliding that the fit does not believe, of the worse foot; `strain`: the largest
    unknown of any skate against its spread; `wander`: the mean of the wander's steps against theirs: all three
    large where the data do not fit the model. `evidence`: logarithm of how likely the data are with the spreads
    assumed, up to a constant.
    """

    value: NDArray[np.float64]
    covariance: NDArray[np.float64]
    rejected: float
    gate_miss_m: NDArray[np.float64]
    gate_s: NDArray[np.float64]
    evidence: float
    strain: float = 0.0
    wander: float = 0.0


class Normal:
    """Normal equations that residuals are added to, and the cost of what is left over."""

    def __init__(self, left: NDArray[np.float64], right: NDArray[np.float64], cost: float = 0.0) -> None:
        self.left = left
        self.right = right
        self.cost = cost

    def add(
        self, by: NDArray[np.float64], miss: NDArray[np.float64], weight: NDArray[np.float64] | float
    ) -> None:
        """Add residuals `miss` with derivatives `by`, shape (m, unknowns), and inverse variances."""
        weight = np.broadcast_to(weight, miss.shape)
        for rows in pieces(len(by), max(ALONE // by.shape[1] ** 2, 1)):
            scaled = by[rows] * weight[rows, None]
            self.left += scaled.T @ by[rows]
            self.right -= scaled.T @ miss[rows]
        self.cost += float(weight @ miss**2)

    def around(self, value: NDArray[np.float64]) -> Normal:
        """Return equations for a step from `value`, of residuals that are linear and were added at zero."""
        moved = self.left @ value
        cost = self.cost + float(value @ (moved - 2 * self.right))
        return Normal(self.left.copy(), self.right - moved, cost)


def solve(
    courses: Sequence[Course],
    on_ice: Sequence[NDArray[np.bool_]],
    stopped: Sequence[bool],
    rhythm: Rhythm,
    gates: Gates | None,
    settings: TrackSettings,
) -> Solution:
    """Fit the unknowns of all skates together, and those of the gates behind them.

    Parameters
    ----------
    courses : sequence of Course
        One or two skates; with two, left first.
    on_ice : sequence of ndarray of bool
        Nodes well inside contacts.
    stopped : sequence of bool
        Whether the last node of each course stands still.
    rhythm : Rhythm
    gates : Gates, optional
    settings : TrackSettings
    """
    spread = np.concatenate(
        [course.spread for course in courses] + ([gate_spread(gates, settings)] if gates else [])
    )
    begin = np.concatenate(([0], np.cumsum([len(course.spread) for course in courses])))
    feet = middle(courses, len(spread), settings.step_s)
    body = steps_averaged_out(feet, rhythm.stride_s(feet.time_s))
    linear = Normal(np.zeros((len(spread), len(spread))), np.zeros(len(spread)))
    for k, course in enumerate(courses):
        if stopped[k]:
            by = padded(course.velocity_by[-1], begin[k], len(spread))
            linear.add(by, course.velocity_m_s[-1], settings.stop_sd_m_s**-2)
    keep_near(linear, feet, rhythm.end_s, settings)
    if len(courses) == 2:
        keep_in_reach(linear, courses, begin, settings)
        keep_beside(linear, courses, begin, rhythm.strides_s, settings)
    wanders = np.concatenate(
        [begin[k] + np.arange(len(one.spread))[one.wander] for k, one in enumerate(courses)]
    )
    found: list[Solution] = []
    for factor in settings.wander_factors:
        scaled = spread.copy()
        scaled[wanders] *= factor
        value = found[-1].value if found else np.zeros(len(spread))
        found.append(descend(courses, on_ice, body, gates, linear, scaled, value, settings))
    best = max(found, key=lambda solution: solution.evidence)
    steps = best.value[wanders] / spread[wanders]
    others = np.setdiff1d(np.arange(begin[-1]), wanders)
    strain = np.abs(best.value[others] / spread[others]).max()
    return replace(best, strain=float(strain), wander=float(np.sqrt(np.mean(steps**2))))


def descend(
    courses: Sequence[Course],
    on_ice: Sequence[NDArray[np.bool_]],
    body: Middle,
    gates: Gates | None,
    linear: Normal,
    spread: NDArray[np.float64],
    value: NDArray[np.float64],
    settings: TrackSettings,
) -> Solution:
    """Find the unknowns of given spreads by Gauss-Newton steps from `value`, and how likely these spreads are."""
    prior = Normal(linear.left + np.diag(spread**-2.0), linear.right, linear.cost)
    begin = np.concatenate(([0], np.cumsum([len(course.spread) for course in courses])))
    miss, passed = np.zeros(0), np.zeros(0)
    for step in range(settings.steps):
        normal = prior.around(value)
        rejected = []
        for k, course in enumerate(courses):
            speed, angle, by, sd = drift_angle(course, value[begin[k] : begin[k + 1]], settings)
            share = on_ice[k] * settings.step_s / settings.slip_independent_s
            soft = 1 + (angle / (settings.robust_sd * sd)) ** 2
            normal.add(padded(by, begin[k], len(spread)), angle, share / (soft * sd) ** 2)
            # The cost of Geman and McClure is r^2 / soft; its weight r^2 / soft^2 was added.
            normal.cost += float(np.sum(share * (angle / sd) ** 2 * (1 / soft - 1 / soft**2)))
            sliding = on_ice[k] & (speed > settings.sliding_m_s)
            rejected.append(float(np.mean(soft[sliding] > 2)) if sliding.any() else 0.0)
        # The clock of the gates is laid on paths that the rest of the fit has already put straight.
        if gates is not None and step >= settings.steps_before_gates:
            miss, by, passed = pass_gates(body, value, gates, settings)
            tracked = passed < body.time_s[-1]
            normal.add(by[tracked], miss[tracked], settings.gate_sd_m**-2)
            miss[~tracked] = np.nan
        value = value + np.linalg.solve(normal.left, normal.right)
    volume = float(np.linalg.slogdet(normal.left)[1] + 2 * np.log(spread).sum())
    covariance = np.asarray(np.linalg.inv(normal.left), float)
    return Solution(value, covariance, max(rejected), miss, passed, -0.5 * (normal.cost + volume))


def drift_angle(
    course: Course, value: NDArray[np.float64], settings: TrackSettings
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Speed [m/s], slip against speed [rad], its derivatives and its standard deviation at nodes.

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
    return speed, slip / speed, by, sd


def padded(by: NDArray[np.float64], begin: int, count: int) -> NDArray[np.float64]:
    """Derivatives by one skate's unknowns among all, shape (m, count)."""
    out = np.zeros((len(by), count))
    out[:, begin : begin + by.shape[1]] = by
    return out


def keep_near(normal: Normal, feet: Middle, until_s: float, settings: TrackSettings) -> None:
    """Add: the middle of the feet stays near the lane as long as the skater pushes."""
    pushing = feet.time_s <= until_s
    weight = settings.step_s / settings.lane_independent_s / settings.lane_sd_m**2
    normal.add(feet.by[pushing, 1], feet.position_m[pushing, 1], weight)


def keep_in_reach(
    normal: Normal, courses: Sequence[Course], begin: NDArray[np.int64], settings: TrackSettings
) -> None:
    """Add: the feet stay within reach of each other."""
    first = max(course.time_s[0] for course in courses)
    last = min(course.time_s[-1] for course in courses)
    times = np.arange(first, last, 0.1)
    count = normal.left.shape[0]
    apart, by = np.zeros((len(times), 2)), np.zeros((len(times), 2, count))
    for k, (course, sign) in enumerate(zip(courses, (1.0, -1.0), strict=True)):
        apart += sign * at_times(course, course.position_m, times)
        by[:, :, begin[k] : begin[k + 1]] = sign * at_times(course, course.position_by, times)
    for axis, usual in ((0, 0.0), (1, settings.apart_m)):
        weight = 0.1 / settings.reach_independent_s / settings.reach_sd_m[axis] ** 2
        normal.add(by[:, axis], apart[:, axis] - usual, weight)


def keep_beside(
    normal: Normal,
    courses: Sequence[Course],
    begin: NDArray[np.int64],
    strides_s: NDArray[np.float64],
    settings: TrackSettings,
) -> None:
    """Add: over a whole stride neither foot is ahead, and the feet stay equally far apart sideways.

    The feet swing to and fro within a stride, which says nothing; what their mean does from stride to
    stride would be a difference of direction. The strides of one foot overlap those of the other: either's count half, so
    that neither foot is preferred.
    """
    count = normal.left.shape[0]
    for begin_s, end_s in strides_s.tolist():
        times = np.linspace(begin_s, end_s, 24, endpoint=False)
        apart, by = np.zeros(2), np.zeros((2, count))
        for k, (course, sign) in enumerate(zip(courses, (1.0, -1.0), strict=True)):
            apart += sign * at_times(course, course.position_m, times).mean(axis=0)
            by[:, begin[k] : begin[k + 1]] = sign * at_times(course, course.position_by, times).mean(axis=0)
        apart[1] -= settings.apart_m
        for axis in (0, 1):
            normal.add(by[axis : axis + 1], apart[axis : axis + 1], 0.5 * settings.beside_sd_m[axis] ** -2)
