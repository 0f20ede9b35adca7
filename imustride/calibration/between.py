"""A gyroscope's matrix from the turns between static positions: where gravity went is known at both ends."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration.triad import Triad, triad
from imustride.frames import about_vectors, angle_between
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
    largest_scale_sd: float = 0.005
    largest_skew_sd_rad: float = 0.0087
    # A turn that misses by more standard deviations than this counts less (Huber 1981).
    huber: float = 4.0
    weighings: int = 5
    iterations: int = 25
    converged: float = 1e-8
    # Search for the scale of counts: natural logarithm of its factor, from and to, and the step.
    search: tuple[float, float] = (-0.5, 1.3)
    search_step: float = 0.03


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
        turned = float(angle_between(up[i], up[i + 1]))
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
    turns: Turns,
    bias: Floats,
    bias_sd: Floats,
    start: Floats,
    settings: BetweenSettings,
    *,
    from_counts: bool,
) -> BetweenFit | None:
    """Fit the matrix of a gyroscope to the turns between positions.

    Parameters
    ----------
    turns : Turns
    bias, bias_sd : ndarray, shape (3,)
        Of the angular velocity at rest, in the recording's unit, with its standard error.
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
    from scipy.special import stdtrit

    size = float(np.abs(start).max())
    freedom = 2 * len(turns.first) - 9
    solved = _solved(turns, start / size, size, settings) if freedom > 0 else None
    if solved is None:
        return None
    entries, cofactors, miss_rad, square = solved
    covariance = np.zeros((12, 12))
    covariance[:3, :3] = np.diag((size * bias_sd) ** 2)
    covariance[3:, 3:] = cofactors * square / freedom
    found = triad(
        np.concatenate((np.zeros(3), entries.ravel())),
        covariance,
        lambda p: (bias + p[:3] / size, size * p[3:].reshape(3, 3)),
        float(stdtrit(freedom, 0.975)),
        from_counts=from_counts,
    )
    scale_sd, skew_sd = (found.scale_sd / found.scale).max(), np.radians(found.skew_sd_deg.max())
    if scale_sd <= settings.largest_scale_sd and skew_sd <= settings.largest_skew_sd_rad:
        return BetweenFit(found, miss_rad)
    return None


def _solved(
    turns: Turns, entries: Floats, size: float, settings: BetweenSettings
) -> tuple[Floats, Floats, Floats, float] | None:
    """Return entries of the matrix over `size`, their cofactors, the misses, and the sum of weighted squares."""
    trust = np.ones(len(turns.first))
    for _ in range(settings.weighings):
        for _ in range(settings.iterations):
            miss, jacobian = _linear(turns, size * entries)
            weights = trust / turns.sd_rad
            rows = (size * jacobian * weights[:, np.newaxis, np.newaxis]).reshape(-1, 9)
            right = (miss * weights[:, np.newaxis]).ravel()
            step, _, rank, _ = np.linalg.lstsq(rows, -right, rcond=1e-9)
            if rank < entries.size or not np.isfinite(step).all():
                return None
            entries = entries + step.reshape(3, 3)
            if np.abs(step).max() < settings.converged:
                break
        else:
            return None
        cofactors = np.asarray(np.linalg.inv(rows.T @ rows), dtype=np.float64)
        square = float(right @ right)
        miss_rad = np.asarray(np.linalg.norm(miss, axis=1))
        length = miss_rad / turns.sd_rad
        # The length of two normal errors has the median 1.18.
        far = np.maximum(length, 1e-12) / (settings.huber * float(np.median(length)) / 1.18 + 1e-12)
        trust = np.sqrt(np.minimum(1, 1 / far))
    return entries, cofactors, miss_rad, square


def rough_scale(turns: Turns, settings: BetweenSettings) -> float:
    """Find one scale for all three axes, in any unit: where a fit starts.

    Notes
    -----
    The angle between the directions of gravity is what each turn must at least have been; from there a
    search for the scale with which the turns miss least.
    """
    raw = np.linalg.norm(np.add.reduceat(turns.angle, turns.first, axis=0), axis=1)
    seen = angle_between(turns.before, turns.after)
    usual = float(np.median(seen / np.maximum(raw, 1e-12)))
    scales = usual * np.exp(np.arange(*settings.search, settings.search_step))
    return float(min(scales, key=lambda scale: missed_rad(turns, scale)))


def missed_rad(turns: Turns, scale: float) -> float:
    """Return by how much turns miss gravity with one scale for all axes: the mean, each 1 at most [rad]."""
    ends, _, _ = _ends(turns, scale * np.eye(3))
    return float(np.minimum(np.linalg.norm(ends - turns.before, axis=1), 1.0).mean())


def _linear(turns: Turns, matrix: Floats) -> tuple[Floats, Floats]:
    """Misses of the turns, shape (n, 3), and their derivatives by the entries of the matrix, shape (n, 3, 9)."""
    ends, start_from_step, angle = _ends(turns, matrix)
    # In the middle of a step, as a turn back by half of it tells: that is where its share acts.
    middle = start_from_step @ np.ascontiguousarray(about_vectors(-0.5 * angle))
    shares = np.einsum("nij,nk->nijk", middle, turns.angle).reshape(len(angle), 27)
    turned = np.add.reduceat(shares, turns.first, axis=0).reshape(-1, 3, 9)
    jacobian = np.cross(turned, ends[:, :, np.newaxis], axisa=1, axisb=1, axisc=1)
    return ends - turns.before, jacobian


def _ends(turns: Turns, matrix: Floats) -> tuple[Floats, Floats, Floats]:
    """Gravity behind each turn as seen before it, shape (n, 3); the turns up to each step, and its own."""
    angle = turns.angle @ matrix.T
    start_from_step = _joined(np.ascontiguousarray(about_vectors(angle)), turns.first)
    last = np.append(turns.first[1:], len(angle)) - 1
    return np.einsum("nij,nj->ni", start_from_step[last], turns.after), start_from_step, angle


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
