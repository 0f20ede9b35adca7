"""Whether a recording was made at rest on a firm table, in range and in the declared unit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.constants import STANDARD_GRAVITY_M_S2
from imustride.errors import SignalQualityError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.calibration.rest import Poses
    from imustride.recording import Recording

    Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class TableSettings:
    """Limits of a position. Common practice, no source."""

    # A hand that holds the sensor shakes it by 0.1 to 0.3 m/s^2; more is no position.
    largest_shaking_m_s2: float = 0.5
    # What the gyroscope may read differently in one position than in the others; in counts as a multiple
    # of the calmest part's shaking.
    largest_rate_rad_s: float = 0.035
    largest_rate_multiple: float = 10.0
    # What a gyroscope may read at rest: 20 deg/s is far more than any data sheet allows.
    largest_bias_rad_s: float = 0.35
    # Uncalibrated accelerometers show gravity within this part.
    gravity_within: float = 0.15
    # An axis sits at the end of its range where this share of a position equals its largest value, and its
    # noise is otherwise this many steps of the resolution.
    stuck_share: float = 0.2
    noise_steps: float = 2.0


@dataclass(frozen=True, slots=True)
class Scale:
    """What the numbers of a recording are worth.

    Parameters
    ----------
    gravity : float
        Length of gravity in the recording's unit.
    gravity_m_s2 : float
    calm_rate : float
        Shaking of the angular velocity in the calmest part, in the recording's unit.
    acceleration_unit, angular_velocity_unit : str
        As declared; the recording is in SI units except for counts.
    """

    gravity: float
    gravity_m_s2: float
    calm_rate: float
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
        If the table moved in most positions, or gravity does not fit the declared unit.
    """
    shaking_m_s2 = poses.shaking[:, 0] * scale.gravity_m_s2 / scale.gravity
    shaken = shaking_m_s2 > settings.largest_shaking_m_s2
    if shaken.all():
        message = (
            f"never still: the calmest position shakes by {shaking_m_s2.min():.2f} m/s^2, wanted less than "
            f"{settings.largest_shaking_m_s2}; hold each position for 3 s on a firm table that nobody touches"
        )
        raise SignalQualityError(message)
    _refuse_unit(poses.only(~shaken), scale, settings)
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


def _refuse_unit(poses: Poses, scale: Scale, settings: TableSettings) -> None:
    if scale.acceleration_unit == "counts":
        return
    found = float(np.median(np.linalg.norm(poses.acceleration, axis=1)))
    if abs(found / scale.gravity_m_s2 - 1) <= settings.gravity_within:
        return
    in_file = found / (STANDARD_GRAVITY_M_S2 if scale.acceleration_unit == "g" else 1.0)
    known = {"m/s^2": STANDARD_GRAVITY_M_S2, "g": 1.0, "mg": 1000.0}
    likely = [
        unit for unit, gravity in known.items() if abs(in_file / gravity - 1) <= settings.gravity_within
    ]
    looks = f"this looks like {likely[0]}" if likely else "this is no known unit: counts?"
    message = f"acceleration declared as {scale.acceleration_unit}, but gravity at rest is {in_file:.4g}: {looks}; correct the unit"
    raise SignalQualityError(message)


def _turning(poses: Poses, scale: Scale, settings: TableSettings) -> NDArray[np.bool_]:
    rates = poses.angular_velocity
    usual = np.median(rates, axis=0)
    limit = settings.largest_rate_rad_s
    if scale.angular_velocity_unit == "counts":
        limit = settings.largest_rate_multiple * scale.calm_rate
    elif np.abs(usual).max() > settings.largest_bias_rad_s:
        message = (
            f"the gyroscope reads {np.degrees(np.abs(usual).max()):.0f} deg/s in the positions, declared as "
            f"{scale.angular_velocity_unit}; wanted rest; use a table that does not turn, or correct the unit"
        )
        raise SignalQualityError(message)
    return np.asarray(np.abs(rates - usual).max(axis=1) > limit)


def refuse_saturated(recording: Recording, poses: Poses, settings: TableSettings) -> None:
    """Refuse positions in which an axis of the accelerometer sits at the end of its range.

    Raises
    ------
    SignalQualityError
        Naming the axis, the position and the value.
    """
    values = recording.acceleration_m_s2
    lowest, highest = values.min(axis=0), values.max(axis=0)
    inside = [values[begin:end] for begin, end in poses.spans]
    noise = np.median([piece.std(axis=0) for piece in inside], axis=0)
    coarse = noise <= settings.noise_steps * resolution(values)
    for piece, (begin, end), (from_s, _) in zip(inside, poses.spans, poses.time_s, strict=True):
        at_end = np.maximum((piece == lowest).mean(axis=0), (piece == highest).mean(axis=0))
        stuck = (at_end > settings.stuck_share) & ~coarse
        if stuck.any() or recording.clipped[begin:end, 0].any():
            axis = int(np.argmax(np.where(stuck, at_end, 0))) if stuck.any() else int(np.argmax(at_end))
            message = (
                f"axis {'xyz'[axis]} of the accelerometer sits at {np.median(piece[:, axis]):.6g}, the end of its "
                f"range, in the position at {from_s:.1f} s; wanted a range of 2 g or more; set a larger range and record again"
            )
            raise SignalQualityError(message)


def resolution(values: Floats) -> Floats:
    """Return the smallest step between neighbouring samples of each axis, zero where an axis never changes."""
    steps = np.abs(np.diff(values, axis=0))
    smallest = np.min(steps, axis=0, where=steps > 0, initial=np.inf)
    return np.asarray(np.where(np.isfinite(smallest), smallest, 0.0))
