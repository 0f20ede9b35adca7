"""Evidence from motion: a blade on the ice slides along itself and does not rise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.segmentation.durations import smoothed

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.kinematics import Kinematics


@dataclass(frozen=True, slots=True)
class SlidingSettings:
    """How fast a blade on the ice may seem to slip and rise, and one in the air does.

    Real blades skid up to 0.4 m/s; drifting velocities and an unknown place of the contact add to
    it (common practice, no source).
    """

    half_blade_m: float = 0.13
    rocker_radius_m: float = 3.0
    slip_on_m_s: float = 0.35
    slip_off_m_s: float = 1.5
    rise_on_m_s: float = 0.15
    rise_off_m_s: float = 0.7
    largest_odds: float = 4.0
    independent_s: float = 0.04
    drift_window_s: float = 0.9
    drift_steps: int = 4


@dataclass(frozen=True, eq=False, slots=True)
class Sliding:
    """Velocity of the contact point across the blade and upwards [m/s], and the speed, shape (n,)."""

    slip_m_s: NDArray[np.float64]
    rise_m_s: NDArray[np.float64]
    speed_m_s: NDArray[np.float64]


def sliding(kinematics: Kinematics, settings: SlidingSettings) -> Sliding:
    """Return how the lowest point of the blade moves."""
    attitude = kinematics.earth_from_segment
    rate = kinematics.angular_velocity_rad_s
    velocity = kinematics.velocity_m_s
    pitch = -np.arcsin(np.clip(attitude[:, 2, 0], -1, 1))
    place = np.clip(settings.rocker_radius_m * pitch, -settings.half_blade_m, settings.half_blade_m)
    slip = np.einsum("ni,ni->n", velocity, attitude[:, :, 1]) + place * rate[:, 2]
    rise = velocity[:, 2] + place * (attitude[:, 2, 1] * rate[:, 2] - attitude[:, 2, 2] * rate[:, 1])
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    moving = slice(round((kinematics.cut.stance_s[1] - kinematics.start_s) * kinematics.rate_hz), None)
    width = round(settings.drift_window_s * kinematics.rate_hz)
    for values, scale, level in ((slip, settings.slip_on_m_s, False), (rise, settings.rise_on_m_s, True)):
        values[moving] -= drift(values[moving], width, scale, settings.drift_steps, level=level)
    return Sliding(slip, rise, speed)


def drift(
    values: NDArray[np.float64], width: int, scale: float, steps: int, *, level: bool
) -> NDArray[np.float64]:
    """Return the slow drift of a velocity that is mostly near zero, shape (n,).

    A moving average in which samples far from it count less. With `level` it begins as the plain
    moving average, right for a height that returns to zero after every swing; else from zero.
    """
    base = smoothed(values, 2 * width) if level else np.zeros_like(values)
    for _ in range(steps):
        weight = 1 / (1 + ((values - base) / scale) ** 2) ** 2
        base = triangle(weight * values, width) / (triangle(weight, width) + 1e-9)
    return base


def triangle(values: NDArray[np.float64], width: int) -> NDArray[np.float64]:
    """Triangular moving average that is `width` samples wide at half height."""
    half = max(width // 2, 1)
    return smoothed(smoothed(values, half), half)


def log_odds(value: NDArray[np.float64], on_sd: float, off_sd: float, largest: float) -> NDArray[np.float64]:
    """Log odds of a value under a narrow density against a wide one, bounded from below."""
    odds = np.log(off_sd / on_sd) - 0.5 * value**2 * (on_sd**-2 - off_sd**-2)
    return np.maximum(odds, -largest)


def sliding_evidence(motion: Sliding, rate_hz: float, settings: SlidingSettings) -> NDArray[np.float64]:
    """Log odds per sample that the blade is on the ice, shape (n,)."""
    odds = log_odds(motion.slip_m_s, settings.slip_on_m_s, settings.slip_off_m_s, settings.largest_odds)
    odds += log_odds(motion.rise_m_s, settings.rise_on_m_s, settings.rise_off_m_s, settings.largest_odds)
    return odds / (settings.independent_s * rate_hz)
