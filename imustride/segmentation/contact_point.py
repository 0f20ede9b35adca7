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
    smoothing_s: float = 0.008
    drift_window_s: float = 0.9
    drift_rise_m_s: float = 0.15
    drift_slip_m_s: float = 0.35


@dataclass(frozen=True, eq=False, slots=True)
class Sliding:
    """Velocity of the contact point upwards and across the blade, and the speed [m/s], shape (n,)."""

    rise_m_s: NDArray[np.float64]
    slip_m_s: NDArray[np.float64]
    speed_m_s: NDArray[np.float64]


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
    declared: bool


def lever(kinematics: Kinematics, piece: slice, settings: ContactPointSettings) -> Lever:
    """Take apart the motion of the contact point into the middle's and the arm's share."""
    attitude = kinematics.earth_from_segment[piece]
    velocity = kinematics.velocity_m_s[piece]
    width = round(settings.smoothing_s * kinematics.rate_hz)
    rate = np.stack([smoothed(axis, width) for axis in kinematics.angular_velocity_rad_s[piece].T], axis=1)
    end = np.clip(-np.arcsin(np.clip(attitude[:, 2, 0], -1, 1)) / settings.full_end_rad, -1, 1)
    # Turning about an arm along x, y, z moves the point by rate x arm.
    by_x = np.stack((np.zeros(len(rate)), rate[:, 2], -rate[:, 1]), axis=1)
    by_y = np.stack((-rate[:, 2], np.zeros(len(rate)), rate[:, 0]), axis=1)
    by_z = np.stack((rate[:, 1], -rate[:, 0], np.zeros(len(rate))), axis=1)
    arms = (by_x * np.clip(end, 0, 1)[:, None], by_x * np.clip(-end, 0, 1)[:, None], by_y, by_z)
    up = attitude[:, 2, :]
    return Lever(
        velocity[:, 2],
        np.einsum("ni,ni->n", velocity, attitude[:, :, 1]),
        np.hypot(velocity[:, 0], velocity[:, 1]),
        np.stack([np.einsum("ni,ni->n", up, arm) for arm in arms], axis=1),
        np.stack([arm[:, 1] for arm in arms], axis=1),
        kinematics.position_m is not None,
    )


def sliding(
    found: Lever, arms_m: NDArray[np.float64], rate_hz: float, settings: ContactPointSettings
) -> Sliding:
    """Return the motion of the contact point, its slow drift taken out."""
    width = round(settings.drift_window_s * rate_hz)
    rise = found.rise_m_s + found.rise_by_arm @ arms_m
    slip = found.slip_m_s + found.slip_by_arm @ arms_m
    # A height returns to zero after every swing: a plain mean over a stride is a good first level.
    rise = rise - steady_level(rise, width, settings.drift_rise_m_s, first=smoothed(rise, 2 * width))
    slip = slip - steady_level(slip, width, settings.drift_slip_m_s, first=np.zeros_like(slip))
    return Sliding(rise, slip, found.speed_m_s)


def expected_arms(settings: ContactPointSettings) -> NDArray[np.float64]:
    """Arms before anything was measured [m]: the two ends of an ordinary blade."""
    return np.array([settings.half_blade_m, -settings.half_blade_m, 0.0, 0.0])


def fit_contact_point(
    found: Lever, on: NDArray[np.bool_], rate_hz: float, settings: ContactPointSettings
) -> tuple[NDArray[np.float64], Sliding]:
    """Fit the arms so that the contact point neither rises nor slips where the blade is on the ice.

    Parameters
    ----------
    found : Lever
    on : ndarray of bool, shape (n,)
        Samples in contact, a few wrong ones allowed.
    rate_hz : float
    settings : ContactPointSettings

    Returns
    -------
    tuple of ndarray, shape (4,), and Sliding
        Arms [m], and the motion with them.
    """
    expected = expected_arms(settings)
    across = settings.across_sd_declared_m if found.declared else settings.across_sd_m
    spread = np.array([settings.along_sd_m, settings.along_sd_m, across, across])
    arms = expected
    motion = sliding(found, arms, rate_hz, settings)
    for _ in range(settings.steps):
        left, right = np.diag(spread**-2.0), -(arms - expected) / spread**2
        for miss, by, scale in (
            (motion.rise_m_s, found.rise_by_arm, settings.rise_m_s),
            (motion.slip_m_s, found.slip_by_arm, settings.slip_m_s),
        ):
            weight = 4 * on / (1 + (miss / scale) ** 2) ** 2 / scale**2 / (settings.independent_s * rate_hz)
            left += (by * weight[:, None]).T @ by
            right -= (by * weight[:, None]).T @ miss
        arms = arms + np.linalg.solve(left, right)
        motion = sliding(found, arms, rate_hz, settings)
    return arms, motion
