"""Where the blade meets the ice, seen from the sensor: learnt from how the skate turns on it.

While the toe pivots on the ice the sensor's velocity is the angular velocity times the arm to the
toe. An arm wrong by 3 cm looks like a rise of 0.3 m/s at 600 deg/s, which would hide a lift-off. The
arm is the same in every push, so one robust least-squares fit over all contacts finds it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.segmentation.averages import smoothed, steady_level

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


@dataclass(frozen=True, eq=False, slots=True)
class Lever:
    """Rise and slip of the blade's middle, and what each metre of arm adds to them.

    Arms: towards the toe (toe down), towards the heel (toe up), to the left, up; shape (n, 4).
    """

    rise_m_s: NDArray[np.float64]
    slip_m_s: NDArray[np.float64]
    speed_m_s: NDArray[np.float64]
    rise_by_arm: NDArray[np.float64]
    slip_by_arm: NDArray[np.float64]
    known: NDArray[np.bool_]
    rate_hz: float
    declared: bool

    def thinned(self, every: int, count: int) -> Lever:
        """Return one sample in `every` of the first `count`."""
        keep = slice(0, count, every)
        return Lever(
            self.rise_m_s[keep],
            self.slip_m_s[keep],
            self.speed_m_s[keep],
            self.rise_by_arm[keep],
            self.slip_by_arm[keep],
            self.known[keep],
            self.rate_hz / every,
            self.declared,
        )


def lever(kinematics: Kinematics, piece: slice, settings: ContactPointSettings) -> Lever:
    """Take apart the motion of the contact point into the middle's and the arm's share."""
    attitude = kinematics.earth_from_segment[piece]
    velocity = kinematics.velocity_m_s[piece]
    width = round(settings.smoothing_s * kinematics.rate_hz)
    rate = np.stack([smoothed(axis, width) for axis in kinematics.angular_velocity_rad_s[piece].T], axis=1)
    end = np.clip(-np.arcsin(np.clip(attitude[:, 2, 0], -1, 1)) / settings.full_end_rad, -1, 1)
    # Turning about an arm along x, y, z moves the point by rate x arm: its share upwards, then across.
    (wx, wy, wz), (ux, uy, uz) = rate.T, attitude[:, 2, :].T
    along = uy * wz - uz * wy
    rise_by = (along * np.clip(end, 0, 1), along * np.clip(-end, 0, 1), uz * wx - ux * wz, ux * wy - uy * wx)
    slip_by = (wz * np.clip(end, 0, 1), wz * np.clip(-end, 0, 1), np.zeros_like(wx), -wx)
    return Lever(
        velocity[:, 2],
        np.einsum("ni,ni->n", velocity, attitude[:, :, 1]),
        np.hypot(velocity[:, 0], velocity[:, 1]),
        np.stack(rise_by, axis=1),
        np.stack(slip_by, axis=1),
        kinematics.time_s[piece] <= kinematics.velocity_until_s,
        kinematics.rate_hz,
        kinematics.position_m is not None,
    )


def sliding(found: Lever, arms_m: NDArray[np.float64], settings: ContactPointSettings) -> Sliding:
    """Return the motion of the contact point, its slow drift taken out."""
    every = max(round(found.rate_hz / settings.thinned_hz), 1)
    width = round(settings.drift_window_s * found.rate_hz / every)
    rise = found.rise_m_s + found.rise_by_arm @ arms_m
    slip = np.where(found.known, found.slip_m_s + found.slip_by_arm @ arms_m, 0.0)
    few, place = np.arange(0, len(rise), every), np.arange(len(rise))
    # A height returns to zero after every swing: a plain mean over a stride is a good first level.
    level = steady_level(rise[few], width, settings.drift_rise_m_s, first=smoothed(rise[few], 2 * width))
    rise = rise - np.interp(place, few, level)
    level = steady_level(slip[few], width, settings.drift_slip_m_s, first=np.zeros(len(few)))
    slip = slip - np.interp(place, few, level)
    return Sliding(rise, slip, found.speed_m_s, found.known)


def expected_arms(settings: ContactPointSettings) -> NDArray[np.float64]:
    """Arms before anything was measured [m]: the two ends of an ordinary blade."""
    return np.array([settings.half_blade_m, -settings.half_blade_m, 0.0, 0.0])


def fit_contact_point(
    found: Lever, on: NDArray[np.bool_], settings: ContactPointSettings
) -> NDArray[np.float64]:
    """Fit the arms so that the contact point neither rises nor slips where the blade is on the ice.

    Parameters
    ----------
    found : Lever
    on : ndarray of bool, shape (n,)
        Samples in contact, a few wrong ones allowed.
    settings : ContactPointSettings

    Returns
    -------
    ndarray, shape (4,)
        Arms [m].
    """
    every = max(round(found.rate_hz / settings.thinned_hz), 1)
    count = min(len(on), round(settings.longest_fit_s * found.rate_hz))
    few, on = found.thinned(every, count), on[:count:every]
    expected = expected_arms(settings)
    across = settings.across_sd_declared_m if found.declared else settings.across_sd_m
    spread = np.array([settings.along_sd_m, settings.along_sd_m, across, across])
    arms = expected
    for _ in range(settings.steps):
        motion = sliding(few, arms, settings)
        left, right = np.diag(spread**-2.0), -(arms - expected) / spread**2
        for miss, by, scale, use in (
            (motion.rise_m_s, few.rise_by_arm, settings.rise_m_s, on),
            (motion.slip_m_s, few.slip_by_arm, settings.slip_m_s, on & few.known),
        ):
            weight = (
                4 * use / (1 + (miss / scale) ** 2) ** 2 / scale**2 / (settings.independent_s * few.rate_hz)
            )
            left += (by * weight[:, None]).T @ by
            right -= (by * weight[:, None]).T @ miss
        arms = arms + np.linalg.solve(left, right)
    return arms
