"""Whether a recording was made at rest on a firm table, in range and in the declared unit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration.gravity import unit_it_looks_like
from imustride.constants import STANDARD_GRAVITY_M_S2
from imustride.errors import SignalQualityError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.calibration.rest import Poses
    from imustride.recording import Recording

    Floats = NDArray[np.float64]


# An axis that changes in fewer samples shows jumps, not its resolution.
HARDLY_EVER = 0.01


@dataclass(frozen=True, slots=True)
class TableSettings:
    """Limits of a position. Common practice, no source."""

    # A hand that holds the sensor shakes it by 0.1 to 0.3 m/s^2; more is no position.
    largest_shaking_m_s2: float = 0.5
    # What the gyroscope may read differently in one position than in the others; in counts as a part of the
    # fastest movements, and at least this part of its shaking within a position.
    largest_rate_rad_s: float = 0.035
    largest_rate_ratio: float = 0.02
    least_rate_shaking: float = 0.5
    # What a gyroscope may read at rest: 20 deg/s is far more than any data sheet allows.
    largest_bias_rad_s: float = 0.35
    # Uncalibrated accelerometers show gravity within this part.
    gravity_within: float = 0.15
    # An axis is at the end of its range where so many samples, and as long, equal its largest value, though it changes by
    # more than this many steps of the resolution from sample to sample, and that value is below 1.5 g: knocks
    # reach further.
    stuck_samples: int = 20
    stuck_s: float = 0.1
    noise_steps: float = 2.0
    knock_ratio: float = 1.5


@dataclass(frozen=True, slots=True)
class Scale:
    """What the numbers of a recording are worth.

    Parameters
    ----------
    gravity : float
        Length of gravity in the recording's unit.
    gravity_m_s2 : float
    fast_rate : float
        Angular velocity of the fastest movements, in the recording's unit.
    acceleration_unit, angular_velocity_unit : str
        As declared; the recording is in SI units except for counts.
    """

    gravity: float
    gravity_m_s2: float
    fast_rate: float
    acceleration_unit: str
    angular_velocity_unit: str


def on_a_firm_table(
    poses: Poses, scale: Scale, settings: TableSettings
) -> tuple[NDArray[np.bool_], tuple[str, ...]]:
    """Tell which positions were at rest.

    Returns
    -------
    kept : ndarray of bool, shape (n,)
    notes : tuple of str
        What was left out and why.

    Raises
    ------
    SignalQualityError
        If the table moved in most positions.
    """
    shaking_m_s2 = poses.shaking[:, 0] * scale.gravity_m_s2 / scale.gravity
    shaken = shaking_m_s2 > settings.largest_shaking_m_s2
    if shaken.all():
        message = (
            f"never still: the calmest position shakes by {shaking_m_s2.min():.2f} m/s^2, wanted less than "
            f"{settings.largest_shaking_m_s2}; hold each position for 3 s on a firm table that nobody touches"
        )
        raise SignalQualityError(message)
    turning = _turning(poses, scale, settings) & ~shaken
    if turning.sum() > (~shaken).sum() / 2:
        message = (
            f"the sensor turned in {turning.sum()} of {len(poses)} positions; wanted rest; "
            "use a firm table that does not turn, and let go of the sensor"
        )
        raise SignalQualityError(message)
    notes = [
        f"the position at {time_s:.1f} s was left out: {why}"
        for kind, why in ((shaken, "shaken"), (turning, "turning"))
        for time_s in poses.time_s[kind, 0]
    ]
    return ~(shaken | turning), tuple(notes)


def refuse_unit(found: float, gravity_m_s2: float, unit: str, settings: TableSettings) -> None:
    """Refuse a recording whose gravity at rest does not fit the declared unit.

    Parameters
    ----------
    found : float
        Length of gravity at rest, converted as declared [m/s^2].
    gravity_m_s2 : float
    unit : str
        As declared, not counts.
    settings : TableSettings

    Raises
    ------
    SignalQualityError
    """
    if abs(found / gravity_m_s2 - 1) <= settings.gravity_within:
        return
    in_file = found / (STANDARD_GRAVITY_M_S2 if unit == "g" else 1.0)
    looks = unit_it_looks_like(in_file, settings.gravity_within)
    message = (
        f"acceleration declared as {unit}, but gravity at rest is {in_file:.4g}: {looks}; correct the unit"
    )
    raise SignalQualityError(message)


def _turning(poses: Poses, scale: Scale, settings: TableSettings) -> NDArray[np.bool_]:
    rates = poses.angular_velocity
    usual = np.median(rates, axis=0)
    limit = settings.largest_rate_rad_s
    if scale.angular_velocity_unit == "counts":
        shaking = float(np.median(poses.shaking[:, 1]))
        limit = max(settings.largest_rate_ratio * scale.fast_rate, settings.least_rate_shaking * shaking)
    elif np.abs(usual).max() > settings.largest_bias_rad_s:
        message = (
            f"the gyroscope reads {np.degrees(np.abs(usual).max()):.0f} deg/s in the positions, declared as "
            f"{scale.angular_velocity_unit}; wanted rest; use a table that does not turn, or correct the unit"
        )
        raise SignalQualityError(message)
    return np.asarray(np.abs(rates - usual).max(axis=1) > limit)


def refuse_saturated(recording: Recording, gravity_m_s2: float, settings: TableSettings) -> None:
    """Refuse a recording in which gravity takes an axis of the accelerometer to the end of its range.

    Raises
    ------
    SignalQualityError
        Naming the axis and the value.
    """
    values = recording.acceleration_m_s2
    change = np.median(np.abs(np.diff(values, axis=0)), axis=0)
    fine = change > settings.noise_steps * resolution(values)
    in_counts = recording.sensor.units.acceleration == "counts"
    enough = max(settings.stuck_samples, settings.stuck_s * recording.rate_hz)
    for end in (values.min(axis=0), values.max(axis=0)):
        stuck = fine & (np.count_nonzero(values == end, axis=0) >= enough)
        if not in_counts:
            stuck &= np.abs(end) < settings.knock_ratio * gravity_m_s2
        if stuck.any():
            axis = int(np.argmax(stuck))
            at_s = recording.start_s + int(np.argmax(values[:, axis] == end[axis])) / recording.rate_hz
            message = (
                f"axis {'xyz'[axis]} of the accelerometer is at the end of its range, {end[axis]:.6g}, first at "
                f"{at_s:.1f} s; wanted a range of 2 g or more; set a larger range and record again"
            )
            raise SignalQualityError(message)


def resolution(values: Floats) -> Floats:
    """Return the smallest step between neighbouring samples of each axis, zero where an axis hardly ever changes."""
    steps = np.abs(np.diff(values, axis=0))
    steps[:, (steps > 0).mean(axis=0) < HARDLY_EVER] = 0.0
    smallest = np.min(steps, axis=0, where=steps > 0, initial=np.inf)
    return np.asarray(np.where(np.isfinite(smallest), smallest, 0.0))
