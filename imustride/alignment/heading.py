"""The heading of a body sensor against the lane: it travels with the body.

Strapdown integration from the quiet stance gives a sensor's velocity in an earth frame of unknown heading. Averaged over a
stride, every part of the body moves like the body: along the lane, at the speed that blades and gates give. One complex
least-squares fit finds the turn between the two, together with the slow drift that a tilt error feeds in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import own

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class HeadingSettings:
    """Spreads of the fit (common practice, no source, unless said)."""

    tilt_sd_rad: float = np.radians(0.5)  # of the attitude in the stance
    tilt_drift_sd_rad_s: float = np.radians(0.1)
    velocity_sd_m_s: float = 0.12  # of a stride's mean against the body's
    stopped_sd_m_s: float = 0.1
    step_s: float = 0.02
    gravity_m_s2: float = 9.81


@dataclass(frozen=True, eq=False, slots=True)
class Heading:
    """How a sensor's earth frame lies against the lane, and what its acceleration is off by.

    Parameters
    ----------
    lane_from_earth_rad : float
        Turn about the vertical.
    sd_rad : float
    drift_m_s2 : ndarray, shape (2, 3)
        Error of the acceleration in the sensor's earth frame: at the end of the stance, and its growth a second.
    """

    lane_from_earth_rad: float
    sd_rad: float
    drift_m_s2: Floats

    def __post_init__(self) -> None:
        own(self.drift_m_s2)


UNKNOWN = Heading(0.0, np.inf, np.zeros((2, 3)))


def fit_heading(
    velocity_m_s: Floats,
    time_s: Floats,
    speed_m_s: Floats,
    stride_s: float,
    stopped_s: float | None,
    settings: HeadingSettings | None = None,
) -> Heading:
    """Fit the heading of one sensor.

    Parameters
    ----------
    velocity_m_s : ndarray, shape (n, 3)
        Integrated from the quiet stance in the sensor's own earth frame.
    time_s : ndarray, shape (n,)
        From the end of the stance, in steps of the settings [s].
    speed_m_s : ndarray, shape (n,)
        Speed of the body along the lane; NaN where it is not known.
    stride_s : float
        Usual stride time: what both are averaged over [s].
    stopped_s : float or None
        When the sensor stands again [s].
    settings : HeadingSettings, optional

    Returns
    -------
    Heading

    Notes
    -----
    The vertical is fitted along with the rest: over whole strides nobody gains height. Where nobody knows of a whole
    stride how fast the body went, the deviation is infinite.
    """
    settings = settings or HeadingSettings()
    size = max(round(stride_s / settings.step_s), 1)
    if len(time_s) < size:
        return UNKNOWN
    window = np.ones(size) / size
    body = np.convolve(speed_m_s, window, "valid")
    if not np.nansum(body**2) > 0:
        return UNKNOWN
    known = np.isfinite(body)
    middle_s = np.convolve(time_s, window, "valid")[known]
    seen = np.stack([np.convolve(axis, window, "valid")[known] for axis in velocity_m_s.T])
    design = np.column_stack((body[known], middle_s, middle_s**2 / 2))
    # Means of overlapping strides err together: each sample counts as its share of a stride.
    weight = 1 / (settings.velocity_sd_m_s**2 * size)
    left = weight * design.T @ design
    right = weight * design.T @ np.column_stack((seen[0] + 1j * seen[1], seen[2]))
    if stopped_s is not None:
        at = min(int(np.searchsorted(time_s, stopped_s)), len(time_s) - 1)
        row = np.array([0.0, time_s[at], time_s[at] ** 2 / 2]) / settings.stopped_sd_m_s**2
        last = velocity_m_s[at]
        left += np.outer(row, row) * settings.stopped_sd_m_s**2
        right += np.outer(row, [complex(last[0], last[1]), last[2]])
    gravity = settings.gravity_m_s2
    priors = [0.0, (gravity * settings.tilt_sd_rad) ** -2, (gravity * settings.tilt_drift_sd_rad_s) ** -2]
    covariance = np.linalg.inv(left + np.diag(priors))
    level = covariance @ right[:, 0]
    rise = np.linalg.solve(left[1:, 1:] + np.diag(priors[1:]), right[1:, 1].real)
    drift = np.column_stack((level[1:].real, level[1:].imag, rise))
    sd_rad = float(np.sqrt(covariance[0, 0]) / max(abs(level[0]), 1e-3))
    return Heading(-float(np.angle(level[0])), sd_rad, drift)
