"""A gyroscope's matrix from the turns between static positions: where gravity went is known at both ends."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration.triad import Triad, triad
from imustride.frames import matrix_from_quaternion
from imustride.recording import own

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.calibration.rest import Poses
    from imustride.recording import Recording

    Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class BetweenSettings:
    """Settings of the turns between positions. Common practice, no source, where no other is named."""

    # Steps of the integration: a hand turns by less than 0.1 rad in each.
    step_s: float = 0.01
    # Error of a turn: directions of gravity at its ends [rad], and what the bias wanders by [rad/s].
    ends_rad: float = 1.5e-3
    wander_rad_s: float = 2e-4
    longest_s: float = 60.0
    # Turns that change gravity by less than this say nothing [rad].
    smallest_rad: float = 0.17
    # Less certain parameters are left open: scale, skew [rad].
    largest_scale_sd: float = 0.01
    largest_skew_sd_rad: float = 0.0175
    # A turn that misses by this many times the usual miss counts less (Huber 1981: 1.345 standard deviations).
    huber: float = 1.345
    iterations: int = 25


@dataclass(frozen=True, eq=False, slots=True)
class Turns:
    """Raw turns between neighbouring positions, in steps.

    Parameters
    ----------
    angle : ndarray, shape (steps, 3)
        Integral of the raw rate less its bias over each step, sensor axes.
    first : ndarray of int, shape (n,)
        First step of every turn.
    before, after : ndarray, shape (n, 3)
        Where gravity pointed, unit vectors, sensor axes.
    sd_rad : ndarray, shape (n,)
        Expected error [rad].
    """

    angle: Floats
    first: NDArray[np.intp]
    before: Floats
    after: Floats
    sd_rad: Floats

    def __post_init__(self) -> None:
        own(self.angle, self.first, self.before, self.after, self.sd_rad)


@dataclass(frozen=True, eq=False, slots=True)
class BetweenFit:
    """A gyroscope's parameters from turns between positions.

    `miss_rad` (shape (turns,)) is the angle by which each turn misses the direction of gravity at its end.
    """

    triad: Triad
    miss_rad: Floats

    def __post_init__(self) -> None:
        own(self.miss_rad)

    @property
    def rms_deg(self) -> float:
        """Root mean square of the misses [deg]."""
        return float(np.degrees(np.sqrt(np.mean(self.miss_rad**2))))


def turns_between(recording: Recording, poses: Poses, up: Floats, settings: BetweenSettings) -> Turns | None:
    """Cut the raw turns between neighbouring positions into steps; None where there are too few.

    Parameters
    ----------
    recording : Recording
    poses : Poses
        In order of time.
    up : ndarray, shape (n, 3)
        Where gravity points in each.
    settings : BetweenSettings

    Notes
    -----
    The bias is that of the two positions around each turn: it wanders while the positions are set.
    """
    per_step = max(1, round(settings.step_s * recording.rate_hz))
    angles: list[Floats] = []
    kept = []
    for i in range(len(poses) - 1):
        begin, end = int(poses.spans[i, 1]) - 1, int(poses.spans[i + 1, 0])
        steps = -(-(end - begin) // per_step)
        stop = begin + steps * per_step  # whole steps: the last one ends within the rest that follows
        duration_s = (stop - begin) / recording.rate_hz
        turned = float(np.arccos(np.clip(up[i] @ up[i + 1], -1, 1)))
        if (
            not recording.measured[begin : stop + 1].all()
            or recording.clipped[begin : stop + 1, 1].any()
            or stop + 1 > poses.spans[i + 1, 1]
            or duration_s > settings.longest_s
            or turned < settings.smallest_rad
        ):
            continue
        rates = recording.angular_velocity_rad_s[begin : stop + 1] - poses.angular_velocity[i : i + 2].mean(
            axis=0
        )
        between = (rates[1:] + rates[:-1]) / (2 * recording.rate_hz)
        angles.append(between.reshape(steps, per_step, 3).sum(axis=1))
        kept.append((i, duration_s))
    if not kept:
        return None
    at = np.array([i for i, _ in kept])
    first = np.concatenate(([0], np.cumsum([len(angle) for angle in angles])[:-1]))
    sd = np.hypot(settings.ends_rad, settings.wander_rad_s * np.array([duration for _, duration in kept]))
    return Turns(np.concatenate(angles), first.astype(np.intp), up[at], up[at + 1], sd)


def fit_between(
    turns: Turns, bias: Floats, start: Floats, settings: BetweenSettings, *, from_counts: bool
) -> BetweenFit | None:
    """Fit the matrix of a gyroscope to the turns between positions.

    Parameters
    ----------
    turns : Turns
    bias : ndarray, shape (3,)
    start : ndarray, shape (3, 3)
        Matrix to start from.
    settings : BetweenSettings
    from_counts : bool

    Returns
    -------
    BetweenFit or None
        None where the turns leave a parameter open.

    Notes
    -----
    The integrated turn must bring the direction of gravity behind it onto that before it (Tedaldi, Pretto,
    Menegatti 2014, equations 12 to 18; here the integral is made of exact turns instead of Runge-Kutta
    steps, and the frame is that of the accelerometer). A turn about the vertical says nothing. Gauss-Newton:
    a change of the matrix turns the end of each step by its share of the integral.
    """
    size = float(np.abs(start).max())
    parameters = (start / size).ravel()
    weights = 1 / turns.sd_rad
    freedom = 2 * len(turns.first) - len(parameters)
    if freedom < 1:
        return None
    for _ in range(settings.iterations):
        miss, jacobian = _linear(turns, size * parameters.reshape(3, 3))
        length = np.linalg.norm(miss, axis=1)
        usual = 1.4826 * float(np.median(length / turns.sd_rad)) / 1.2  # median length of two normal errors
        weights = np.sqrt(np.minimum(1, settings.huber * usual / np.maximum(length / turns.sd_rad, 1e-12)))
        weights = weights / turns.sd_rad
        rows = (size * jacobian * weights[:, np.newaxis, np.newaxis]).reshape(-1, 9)
        right = (miss * weights[:, np.newaxis]).ravel()
        step, _, rank, _ = np.linalg.lstsq(rows, -right, rcond=1e-9)
        if rank < len(parameters):
            return None
        parameters = parameters + step
        if np.abs(step).max() < 1e-10:
            break
    else:
        return None
    covariance = np.linalg.inv(rows.T @ rows) * float(right @ right) / freedom
    return _found(parameters, covariance, size, bias, length, freedom, settings, from_counts=from_counts)


def _found(
    parameters: Floats,
    covariance: Floats,
    size: float,
    bias: Floats,
    miss_rad: Floats,
    freedom: int,
    settings: BetweenSettings,
    *,
    from_counts: bool,
) -> BetweenFit | None:
    from scipy.special import stdtrit

    matrix = parameters.reshape(3, 3)
    if not 0 < abs(np.linalg.det(matrix)) < np.inf:
        return None
    found = triad(
        parameters,
        covariance,
        lambda p: (bias, size * p.reshape(3, 3)),
        float(stdtrit(freedom, 0.975)),
        from_counts=from_counts,
    )
    scale_sd, skew_sd = (found.scale_sd / found.scale).max(), np.radians(found.skew_sd_deg.max())
    if not (scale_sd <= settings.largest_scale_sd and skew_sd <= settings.largest_skew_sd_rad):
        return None
    return BetweenFit(found, miss_rad)


def _linear(turns: Turns, matrix: Floats) -> tuple[Floats, Floats]:
    """Misses of the turns, shape (n, 3), and their derivatives by the entries of the matrix, shape (n, 3, 9)."""
    angle = turns.angle @ matrix.T
    start_from_step = _joined(_turn(angle), turns.first)
    last = np.append(turns.first[1:], len(angle)) - 1
    ends = np.einsum("nij,nj->ni", start_from_step[last], turns.after)
    # In the middle of a step, as a turn back by half of it tells: that is where its share acts.
    middle = start_from_step @ _turn(-0.5 * angle)
    shares = np.einsum("nij,nk->nijk", middle, turns.angle).reshape(len(angle), 27)
    turned = np.add.reduceat(shares, turns.first, axis=0).reshape(-1, 3, 9)
    jacobian = np.cross(turned, ends[:, :, np.newaxis], axisa=1, axisb=1, axisc=1)
    return ends - turns.before, jacobian


def _turn(rotation_rad: Floats) -> Floats:
    """Return the turns about vectors by their length [rad], shape (n, 3) to (n, 3, 3)."""
    half = 0.5 * np.linalg.norm(rotation_rad, axis=1, keepdims=True)
    quaternion = np.hstack((np.cos(half), 0.5 * np.sinc(half / np.pi) * rotation_rad))
    return np.ascontiguousarray(matrix_from_quaternion(quaternion))


def _joined(turns: Floats, first: NDArray[np.intp]) -> Floats:
    """Return the product of all turns of a group up to each one, by doubling the reach."""
    count = np.arange(len(turns)) - np.repeat(first, np.diff(np.append(first, len(turns))))
    joined, reach = turns, 1
    while reach <= count.max():
        behind = np.flatnonzero(count >= reach)
        further = joined.copy()
        further[behind] = joined[behind - reach] @ joined[behind]
        joined, reach = further, 2 * reach
    return joined
