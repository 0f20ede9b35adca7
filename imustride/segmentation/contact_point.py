"""Where the blade meets the ice, seen from the sensor: learnt from how the skate turns on it.

While the toe pivots on the ice the sensor's velocity is the angular velocity times the arm to the
toe. An arm wrong by 3 cm looks like a rise of 0.3 m/s at 600 deg/s, which would hide a lift-off. The
arm is the same in every push, so one robust least-squares fit over all contacts finds it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import pieces
from imustride.segmentation.averages import smoothed, steady_level
from imustride.segmentation.counting import sample_count

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.kinematics import Kinematics


@dataclass(frozen=True, slots=True)
class ContactPointSettings:
    """Prior of the contact point and scales of the fit (common practice, no source, unless said).

    A hockey blade is some 0.28 m long with a rocker of 2 to 4 m.
    """

    half_blade_m: float = 0.13
    along_sd_m: float = 0.03
    across_sd_m: float = 0.03
    across_sd_declared_m: float = 0.012
    full_end_rad: float = np.radians(3.0)
    rise_m_s: float = 0.12
    slip_m_s: float = 0.20
    independent_s: float = 0.03
    steps: int = 6
    thinned_hz: float = 125.0  # the fit and the slow drift need no more
    longest_fit_s: float = 20.0
    smoothing_s: float = 0.008
    drift_window_s: float = 0.9
    drift_rise_m_s: float = 0.15
    drift_slip_m_s: float = 0.35


@dataclass(frozen=True, eq=False, slots=True)
class Sliding:
    """Velocity of the contact point upwards and across the blade, and the speed [m/s], shape (n,).

    `known` is False where the horizontal velocity drifts freely, and slip and speed say nothing.
    """

    rise_m_s: NDArray[np.float64]
    slip_m_s: NDArray[np.float64]
    speed_m_s: NDArray[np.float64]
    known: NDArray[np.bool_]

    def part(self, piece: slice) -> Sliding:
        """Return some of the samples."""
        return Sliding(self.rise_m_s[piece], self.slip_m_s[piece], self.speed_m_s[piece], self.known[piece])


@dataclass(frozen=True, eq=False, slots=True)
class Lever:
    """Rise and slip of the blade's middle, and what each metre of arm adds to them.

    Arms: towards the toe (toe down), towards the heel (toe up), to the left, up; shape (n, 4).
    """

    rise_m_s: NDArray[np.float64]
    slip_m_s: NDArray[np.float64]
    rise_by_arm: NDArray[np.float64]
    slip_by_arm: NDArray[np.float64]

    def thinned(self, every: int) -> Lever:
        """Return one sample in `every`."""
        return Lever(
            self.rise_m_s[::every],
            self.slip_m_s[::every],
            self.rise_by_arm[::every],
            self.slip_by_arm[::every],
        )


def lever(kinematics: Kinematics, piece: slice, span: slice, settings: ContactPointSettings) -> Lever:
    """Take apart the motion of the contact point, in one piece of a span, into the middle's and the arm's share."""
    width = sample_count(settings.smoothing_s, kinematics.rate_hz) | 1
    wide = slice(max(piece.start - width // 2, span.start), min(piece.stop + width // 2, span.stop))
    inner = slice(piece.start - wide.start, piece.stop - wide.start)
    wx, wy, wz = (smoothed(axis, width)[inner] for axis in kinematics.angular_velocity_rad_s[wide].T)
    attitude = np.moveaxis(kinematics.earth_from_segment[piece], 0, 2)
    velocity = kinematics.velocity_m_s[piece].T
    ux, uy, uz = attitude[2]
    end = np.clip(-np.arcsin(np.clip(ux, -1, 1)) / settings.full_end_rad, -1, 1)
    toe, heel = np.maximum(end, 0), np.maximum(-end, 0)
    # Turning about an arm along x, y, z moves the point by rate x arm: its share upwards, then across.
    along = uy * wz - uz * wy
    across = attitude[:, 1]
    rise_by, slip_by = np.zeros((2, 4, len(ux)))
    rise_by[0], rise_by[1], rise_by[2], rise_by[3] = (
        along * toe,
        along * heel,
        uz * wx - ux * wz,
        ux * wy - uy * wx,
    )
    slip_by[0], slip_by[1], slip_by[3] = wz * toe, wz * heel, -wx
    slip = velocity[0] * across[0] + velocity[1] * across[1] + velocity[2] * across[2]
    return Lever(velocity[2], slip, rise_by.T, slip_by.T)


def sliding(
    kinematics: Kinematics, span: slice, arms_m: NDArray[np.float64], settings: ContactPointSettings
) -> Sliding:
    """Return the motion of the contact point in a span, its slow drift taken out."""
    rise, slip, speed = np.empty((3, span.stop - span.start))
    known = known_in(kinematics, span)
    for part in pieces(len(rise)):
        piece = slice(span.start + part.start, span.start + part.stop)
        found = lever(kinematics, piece, span, settings)
        rise[part] = found.rise_m_s + np.einsum("na,a->n", found.rise_by_arm, arms_m)
        slip[part] = found.slip_m_s + np.einsum("na,a->n", found.slip_by_arm, arms_m)
        x, y, _ = kinematics.velocity_m_s[piece].T
        speed[part] = np.sqrt(x * x + y * y)
    slip *= known
    take_drift(rise, slip, kinematics.rate_hz, settings)
    return Sliding(rise, slip, speed, known)


def known_in(kinematics: Kinematics, span: slice) -> NDArray[np.bool_]:
    """Samples of a span in which the horizontal velocity is held, shape (samples,)."""
    time_s = kinematics.start_s + np.arange(span.start, span.stop) / kinematics.rate_hz
    return np.asarray(time_s <= kinematics.velocity_until_s)


def take_drift(
    rise: NDArray[np.float64], slip: NDArray[np.float64], rate_hz: float, settings: ContactPointSettings
) -> None:
    """Take the slow drift out of both velocities, in place."""
    every = max(round(rate_hz / settings.thinned_hz), 1)
    width = round(settings.drift_window_s * rate_hz / every)
    # A height returns to zero after every swing: a plain mean over a stride is a good first level.
    few = rise[::every]
    level = steady_level(few, width, settings.drift_rise_m_s, first=smoothed(few, 2 * width))
    take_line(rise, level, every)
    few = slip[::every]
    level = steady_level(few, width, settings.drift_slip_m_s, first=np.zeros(len(few)))
    take_line(slip, level, every)


def take_line(values: NDArray[np.float64], level: NDArray[np.float64], every: int) -> None:
    """Take away, in place, the line through a level that is known at one value in `every`."""
    whole = (len(level) - 1) * every
    lines = values[:whole].reshape(-1, every)
    step = np.diff(level) / every
    for place in range(every):
        lines[:, place] -= level[:-1] + place * step
    values[whole:] -= level[-1]


def expected_arms(settings: ContactPointSettings) -> NDArray[np.float64]:
    """Arms before anything was measured [m]: the two ends of an ordinary blade."""
    return np.array([settings.half_blade_m, -settings.half_blade_m, 0.0, 0.0])


def fit_contact_point(
    kinematics: Kinematics, span: slice, on: NDArray[np.bool_], settings: ContactPointSettings
) -> NDArray[np.float64]:
    """Fit the arms so that the contact point neither rises nor slips where the blade is on the ice.

    Parameters
    ----------
    kinematics : Kinematics
    span : slice
        Only its first seconds are used.
    on : ndarray of bool, shape (samples,)
        Samples of the span in contact, a few wrong ones allowed.
    settings : ContactPointSettings

    Returns
    -------
    ndarray, shape (4,)
        Arms [m].
    """
    rate_hz = kinematics.rate_hz
    every = max(round(rate_hz / settings.thinned_hz), 1)
    count = min(len(on), sample_count(settings.longest_fit_s, rate_hz))
    first = slice(span.start, span.start + count)
    few = lever(kinematics, first, span, settings).thinned(every)
    on, known = on[:count:every], known_in(kinematics, first)[::every]
    expected = expected_arms(settings)
    across = settings.across_sd_m if kinematics.position_m is None else settings.across_sd_declared_m
    spread = np.array([settings.along_sd_m, settings.along_sd_m, across, across])
    arms = expected
    for _ in range(settings.steps):
        rise = few.rise_m_s + np.einsum("na,a->n", few.rise_by_arm, arms)
        slip = (few.slip_m_s + np.einsum("na,a->n", few.slip_by_arm, arms)) * known
        take_drift(rise, slip, rate_hz / every, settings)
        left, right = np.diag(spread**-2.0), -(arms - expected) / spread**2
        for miss, by, scale, use in (
            (rise, few.rise_by_arm, settings.rise_m_s, on),
            (slip, few.slip_by_arm, settings.slip_m_s, on & known),
        ):
            independent = settings.independent_s * rate_hz / every
            weight = 4 * use / (1 + (miss / scale) ** 2) ** 2 / scale**2 / independent
            left += np.einsum("na,nb->ab", by * weight[:, None], by)
            right -= np.einsum("na,n->a", by, weight * miss)
        arms = arms + np.linalg.solve(left, right)
    return arms
