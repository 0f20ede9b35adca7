"""Fit the azimuth of the blade in its levelled sensor, with the biases that spoil the velocity."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.alignment.motion import BladeSettings, Motion, turn_about_up
from imustride.errors import SignalQualityError
from imustride.recording import ALONE, pieces

if TYPE_CHECKING:
    from numpy.typing import NDArray


@dataclass(frozen=True, eq=False, slots=True)
class Fit:
    """Azimuth [rad], its standard deviation, the fore-aft lever [m] and the unknowns of `Motion`."""

    azimuth_rad: float
    azimuth_sd_rad: float
    lever_m: float
    unknowns: NDArray[np.float64]
    wander: NDArray[np.float64]  # step of velocity in each knot interval, x then y [m/s], shape (2 knots,)


def blade_velocity(motion: Motion, lever_level_m: NDArray[np.float64]) -> NDArray[np.float64]:
    """Velocity of the middle of the blade in levelled-sensor axes [m/s], shape (n, 3)."""
    seen = np.einsum("nji,nj->ni", motion.earth_from_level, motion.velocity_m_s)
    return np.asarray(seen - np.cross(motion.rate_rad_s, lever_level_m))


def dense_azimuths(
    velocity: NDArray[np.float64],
    rate_rad_s: NDArray[np.float64],
    declared_rad: float | None,
    settings: BladeSettings,
) -> list[float]:
    """Return azimuths along which the skate often travels while it hardly turns [rad], densest first."""
    speed = np.hypot(velocity[:, 0], velocity[:, 1])
    turning = np.linalg.norm(rate_rad_s, axis=1)
    azimuth = np.arctan2(velocity[:, 1], velocity[:, 0])
    weight = np.minimum(speed, 5.0) * (speed > settings.slowest_m_s)
    weight = weight / (1 + (turning / settings.calm_rate_rad_s) ** 4)
    grid = np.radians(np.arange(0.0, 360.0, 1.0))
    counts = np.bincount(((np.degrees(azimuth) + 0.5) % 360).astype(int) % 360, weights=weight, minlength=360)
    kernel = np.exp(8.0**-2 * -0.5 * ((np.arange(360) + 180) % 360 - 180) ** 2)
    density = np.fft.irfft(np.fft.rfft(counts) * np.fft.rfft(kernel), 360)
    if declared_rad is not None:
        away = np.angle(np.exp(1j * (grid - declared_rad)))
        density = density * np.exp(-0.5 * (away / settings.declared_axes_sd_rad) ** 2)
    peaks = np.flatnonzero((density >= np.roll(density, 1)) & (density > np.roll(density, -1)))
    order = peaks[np.argsort(-density[peaks])]
    return [float(grid[k]) for k in order[: settings.starts] if density[k] > 0.1 * density.max()]


def fit_forward(
    motion: Motion,
    lever_m: tuple[float, float, float],
    declared_rad: float | None,
    settings: BladeSettings,
) -> Fit:
    """Fit azimuth, biases, lever and a slow wander of velocity so that the blade does not slip sideways.

    Parameters
    ----------
    motion : Motion
        Thinned strapdown motion, first sample at rest.
    lever_m : tuple
        Sensor from the middle of the blade, segment frame [m].
    declared_rad : float or None
        Azimuth that declared axes give [rad].
    settings : BladeSettings

    Returns
    -------
    Fit
        The best of several starts: the cost has a local minimum wherever many samples agree.
    """
    seen = blade_velocity(motion, np.array([0.0, 0.0, lever_m[2]]))
    starts = dense_azimuths(seen, motion.rate_rad_s, declared_rad, settings)
    if not starts and declared_rad is None:
        message = (
            f"the skate never travels faster than {settings.slowest_m_s:g} m/s, so its forward direction cannot be "
            "found; wanted a run, or declare the sensor's axes in session.toml"
        )
        raise SignalQualityError(message)
    if not starts and declared_rad is not None:
        starts = [declared_rad]
    wander = wander_basis(len(seen), settings)
    knots = wander.shape[1]
    spread = np.concatenate((
        [np.pi if declared_rad is None else settings.declared_axes_sd_rad],
        [settings.lever_sd_m],
        motion.spread,
        [settings.wander_m_s * np.sqrt(settings.knot_s)] * (2 * knots),
    ))  # fmt: skip
    fits: list[tuple[float, NDArray[np.float64], NDArray[np.float64]]] = []
    for start in starts:
        expected = np.zeros(len(spread))
        expected[0] = start if declared_rad is None else declared_rad
        value = np.zeros(len(spread))
        value[0] = start
        for scale in settings.slip_scales_m_s:
            value, covariance, cost = one_step(
                motion, value, lever_m, (expected, spread), wander, scale, settings
            )
        fits.append((cost, value, covariance))
    _, value, covariance = min(fits, key=lambda fit: fit[0])
    unknowns = value[2 : 2 + len(motion.spread)]
    return Fit(
        float(value[0]),
        float(np.sqrt(covariance[0, 0])),
        float(value[1]),
        unknowns,
        value[2 + len(motion.spread) :],
    )


def wander_m_s(fit: Fit, time_s: NDArray[np.float64], settings: BladeSettings) -> NDArray[np.float64]:
    """Horizontal wander of the velocity at times from the start of the motion, shape (2, times)."""
    steps = fit.wander.reshape(2, -1)
    knots = np.arange(steps.shape[1] + 1) * settings.knot_s
    level = np.concatenate((np.zeros((2, 1)), np.cumsum(steps, axis=1)), axis=1)
    if len(time_s) and time_s[0] >= knots[-1]:
        return np.broadcast_to(level[:, -1:], (2, len(time_s)))
    return np.array([np.interp(time_s, knots, axis) for axis in level])


def wander_basis(length: int, settings: BladeSettings) -> NDArray[np.float64]:
    """Ramps that let the velocity wander: column k climbs from 0 to 1 over knot interval k, shape (n, knots)."""
    time = np.arange(length) * settings.step_s
    knots = np.arange(0.0, time[-1], settings.knot_s)
    return np.clip((time[:, None] - knots[None, :]) / settings.knot_s, 0.0, 1.0)


def sideways_slip(
    motion: Motion,
    value: NDArray[np.float64],
    lever_m: tuple[float, float, float],
    wander: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Velocity of the blade's middle across the blade [m/s], its derivatives, and along the blade.

    Returns
    -------
    tuple
        slip (n,), derivatives (n, 2 + unknowns + 2 knots), forward (n,).
    """
    knots = wander.shape[1]
    first = 2 + len(motion.spread)
    turn = turn_about_up(value[0])
    lever = turn.T @ np.add(lever_m, [value[1], 0.0, 0.0])
    velocity = motion.velocity_m_s + motion.velocity_by @ value[2:first]
    velocity[:, :2] += np.einsum("nk,ak->na", wander, value[first:].reshape(2, knots))
    rotation = motion.attitude_by @ value[2:first]
    straight = velocity - np.cross(rotation, velocity)
    across = motion.earth_from_level @ turn[1]
    seen = np.einsum("nji,nj->ni", motion.earth_from_level, straight)
    middle = seen - np.cross(motion.rate_rad_s, lever)
    seen_by = motion.velocity_by - np.cross(
        motion.attitude_by, velocity[:, :, None], axisa=1, axisb=1, axisc=1
    )
    by = np.empty((len(middle), len(value)))
    by[:, 0] = -(middle @ turn[0])
    by[:, 1] = -motion.rate_rad_s[:, 2]
    by[:, 2:first] = np.einsum("ni,nik->nk", across, seen_by)
    by[:, first : first + knots] = across[:, :1] * wander
    by[:, first + knots :] = across[:, 1:2] * wander
    return middle @ turn[1], by, middle @ turn[0]


def one_step(
    motion: Motion,
    value: NDArray[np.float64],
    lever_m: tuple[float, float, float],
    prior: tuple[NDArray[np.float64], NDArray[np.float64]],
    wander: NDArray[np.float64],
    scale: float,
    settings: BladeSettings,
) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """One reweighted Gauss-Newton step; returns the new value, its covariance and the cost before it."""
    slip, by, forward = sideways_slip(motion, value, lever_m, wander)
    far = (slip / scale) ** 2
    moving = np.clip(np.hypot(forward, slip) / settings.slowest_m_s, 0, 1) * (forward > 0)
    calm = 1 / (1 + (np.linalg.norm(motion.rate_rad_s, axis=1) / settings.calm_rate_rad_s) ** 4)
    weight = moving * calm / (1 + far) ** 2
    expected, spread = prior
    away = value - expected
    away[0] = np.angle(np.exp(1j * away[0]))
    cost = float(
        (calm * (1 - moving / (1 + far))).sum() + 0.5 * settings.thinning * (away**2 / spread**2).sum()
    )
    precise = settings.thinning * weight / (0.5 * scale) ** 2
    left, right = np.diag(spread**-2.0), -away / spread**2
    for rows in pieces(len(by), max(ALONE // by.shape[1] ** 2, 1)):
        weighted = by[rows] * precise[rows, None]
        left += weighted.T @ by[rows]
        right -= np.einsum("nk,n->k", weighted, slip[rows])
    covariance = np.asarray(np.linalg.inv(left), dtype=np.float64)
    return value + covariance @ right, covariance, cost
