"""The sprint profile: how speed rises towards a maximum, v = v_max (1 - exp(-t / tau)).

The model is that of Perez, Guilhem and Brocherie 2022 (Sports Biomech. 21:56-70,
doi 10.1080/14763141.2019.1648541), who fitted it to the speed of skaters.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

FEWEST_GATES = 4  # three unknowns, and one gate to see whether they fit
# Speed wavers with every push, so what is left over of a fit is alike for about a stride (common practice, no source).
INDEPENDENT_S = 0.5
SHORTEST_S = 1.5
# Standard deviation of single light beams: 12 to 42 ms (Earp and Newton 2012, doi 10.1519/JSC.0b013e3182474436).
GATE_SD_S = 0.02
# The beam may meet an arm, the trunk or a knee; where the start line is not known, it lies about half a metre
# behind the first gate (both common practice, no source).
BEAM_SD_M = 0.12
USUAL_BEHIND_M, USUAL_BEHIND_SD_M = 0.5, 0.4
RISING = "the speed was still rising too evenly for a maximal speed to be told"


@dataclass(frozen=True, slots=True)
class Profile:
    """Maximal speed, time constant and start of a sprint, each with its standard deviation.

    Empty (NaN) where they cannot be told; `reason` says why. `rms` is what the fit leaves over:
    [m/s] of a fit to speeds, [m] of a fit to gates.
    """

    v_max_m_s: float = np.nan
    tau_s: float = np.nan
    start_s: float = np.nan
    v_max_sd_m_s: float = np.nan
    tau_sd_s: float = np.nan
    start_sd_s: float = np.nan
    rms: float = np.nan
    reason: str = ""

    @property
    def initial_acceleration_m_s2(self) -> float:
        """Acceleration at the start [m/s^2]: v_max / tau."""
        return self.v_max_m_s / self.tau_s

    def speed_m_s(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Speed at times on the profile's clock [m/s], zero before the start."""
        return speed_of((self.initial_acceleration_m_s2, 1 / self.tau_s, self.start_s), time_s)

    def distance_m(self, time_s: NDArray[np.float64]) -> NDArray[np.float64]:
        """Distance from the start at times on the profile's clock [m]."""
        return distance_of((self.initial_acceleration_m_s2, 1 / self.tau_s, self.start_s), time_s)

    def time_s(self, distance_m: NDArray[np.float64]) -> NDArray[np.float64]:
        """Time on the profile's clock at which a distance from the start is reached [s].

        Notes
        -----
        With u = (t - start) / tau and X = x / (v_max tau) the distance is u - 1 + exp(-u) = X, which is convex
        in u: Newton's steps from above find u to all digits.
        """
        reduced = distance_m / (self.v_max_m_s * self.tau_s)
        u = np.maximum(np.sqrt(2 * reduced) + reduced, 1e-12)
        for _ in range(8):
            u = np.maximum(u - (u + np.expm1(-u) - reduced) / -np.expm1(-u), 1e-12)
        return np.asarray(self.start_s + self.tau_s * u)


Unknowns = tuple[float, float, float]  # acceleration at the start [m/s^2], 1 / tau [1/s], start [s]


def speed_of(unknowns: Unknowns | NDArray[np.float64], time_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Speed [m/s]; in these unknowns the model stays smooth where the speed rises as a straight line."""
    acceleration, rate, start = unknowns
    since = np.maximum(time_s - start, 0.0)
    z = rate * since
    near = np.abs(z) < 1e-4
    share = np.where(near, 1 - z / 2, -np.expm1(-z) / np.where(near, 1.0, z))
    return np.asarray(acceleration * since * share)


def distance_of(unknowns: Unknowns | NDArray[np.float64], time_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Distance from the start [m], likewise smooth."""
    acceleration, rate, start = unknowns
    since = np.maximum(time_s - start, 0.0)
    z = rate * since
    near = np.abs(z) < 1e-3
    share = np.where(near, 0.5 - z / 6 + z**2 / 24, (z + np.expm1(-z)) / np.where(near, 1.0, z) ** 2)
    return np.asarray(acceleration * since**2 * share)


def fit_speed(
    time_s: NDArray[np.float64],
    speed_m_s: NDArray[np.float64],
    speed_root_m_s: NDArray[np.float64] | None = None,
) -> Profile:
    """Fit the profile to the smoothed speed of the body along the lane.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Evenly spaced, from the stance to the end of pushing: what follows is a glide [s].
    speed_m_s : ndarray, shape (n,)
        NaN where it is not known.
    speed_root_m_s : ndarray, shape (n, k), optional
        Square root of the covariance of the speeds. One column of standard deviations stands for one error
        that all of them share.

    Returns
    -------
    Profile
        On the clock of `time_s`. Empty where the speed is known for less than 1.5 s, or where its
        time constant would not be known to half of itself.
    """
    known = np.isfinite(speed_m_s)
    time, speed = time_s[known], speed_m_s[known]
    if len(time) < 8 or np.ptp(time) < SHORTEST_S:
        return Profile(reason=f"the speed is known for less than {SHORTEST_S} s")
    fastest = float(speed.max())
    if fastest <= 0:
        return Profile(reason="the speed along the lane is nowhere positive")
    start = float(time[np.argmax(speed > 0.05 * fastest)])
    guess = np.array([fastest / 1.2, 1 / 1.2, start])
    found, by, left = least_squares(lambda unknowns: speed_of(unknowns, time) - speed, guess)
    independent = max(np.ptp(time) / INDEPENDENT_S, len(guess) + 1.0)
    variance = float(left @ left) / len(time) * independent / (independent - len(guess))
    inverse = np.linalg.pinv(by.T @ by)
    covariance = inverse * variance * len(time) / independent
    if speed_root_m_s is not None:
        carried = inverse @ by.T @ speed_root_m_s[known]
        covariance = covariance + carried @ carried.T
    return profile(found, np.asarray(covariance, float), float(np.sqrt(np.mean(left**2))))


def fit_gates(
    position_m: NDArray[np.float64], time_s: NDArray[np.float64], start_behind_m: float | None = None
) -> Profile:
    """Fit the profile to the times at four gates or more, the start time fitted along.

    Parameters
    ----------
    position_m : ndarray, shape (n,)
        Along the lane, from the first gate [m].
    time_s : ndarray, shape (n,)
        On the timing system's clock [s].
    start_behind_m : float, optional
        How far behind the first gate the athlete stood; about half a metre where it is not known.

    Returns
    -------
    Profile
        Start on the timing system's clock. Empty with fewer than four gates.

    Notes
    -----
    A fitted start time halves the standard error of such profiles (Stenroth et al. 2020,
    doi 10.1080/14763141.2020.1770321), but against radar it made force and power too small and speed too large
    (Perez et al. 2021, doi 10.3389/fbioe.2021.661744): of two profiles, that of the speed counts.
    """
    count = len(position_m)
    if count < FEWEST_GATES:
        return Profile(reason=f"{count} gates, {FEWEST_GATES} are needed for a profile with a fitted start")
    known = start_behind_m is not None
    behind = USUAL_BEHIND_M if start_behind_m is None else start_behind_m
    behind_sd = BEAM_SD_M if known else np.hypot(BEAM_SD_M, USUAL_BEHIND_SD_M)
    gate_sd = np.maximum(np.gradient(position_m, time_s), 1.0) * GATE_SD_S
    place = position_m - position_m[0]

    def miss(unknowns: NDArray[np.float64]) -> NDArray[np.float64]:
        way = distance_of(unknowns[:3], time_s) - unknowns[3] - place
        return np.append(way / gate_sd, (unknowns[3] - behind) / behind_sd)

    fastest = float(np.max(np.diff(position_m) / np.diff(time_s)))
    guess = np.array([fastest / 1.2, 1 / 1.2, time_s[0] - 0.5, behind])
    found, by, left = least_squares(miss, guess)
    scale = max(float(left @ left) / (count - 3), 1.0)
    rms = float(np.sqrt(np.mean((left[:-1] * gate_sd) ** 2)))
    covariance = np.asarray(np.linalg.pinv(by.T @ by)[:3, :3] * scale, float)
    return profile(found[:3], covariance, rms)


def least_squares(
    miss: Callable[[NDArray[np.float64]], NDArray[np.float64]], guess: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return the unknowns of the least sum of squares, derivatives and residuals there."""
    from scipy.optimize import least_squares as solve

    found = solve(miss, guess, method="lm", x_scale="jac")
    return np.asarray(found.x), np.asarray(found.jac), np.asarray(found.fun)


def profile(found: NDArray[np.float64], covariance: NDArray[np.float64], rms: float) -> Profile:
    """Turn the unknowns of the fit into those of the profile, if the speed bends enough to tell them."""
    acceleration, rate, start = (float(value) for value in found)
    if acceleration <= 0 or rate < 2 * np.sqrt(covariance[1, 1]):
        return Profile(reason=RISING)
    by = np.array([[1 / rate, -acceleration / rate**2, 0], [0, -1 / rate**2, 0], [0, 0, 1]])
    sd = np.sqrt(np.diag(by @ covariance @ by.T))
    v_max_sd, tau_sd, start_sd = (float(one) for one in sd)
    return Profile(acceleration / rate, 1 / rate, start, v_max_sd, tau_sd, start_sd, rms)
