"""Where a signal sits at the end of its range."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.constants import STANDARD_GRAVITY_M_S2

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.recording import SensorLog
    from imustride.session import Sensor

# A converter's last code lies one step (1/32768) inside the range; scale errors add some per mille.
AT_RANGE = 0.998
# So many equal samples in a row at the largest value of an axis are the end of a range, not chance.
REPEATS = 3
# At the end of a range lie so many times more samples than this near below it: part of the range,
# or steps of the resolution.
CROWDING = 2
NEAR_RATIO = 0.005
NEAR_STEPS = 4
# No sensor is sold with a smaller range (2 g, 125 deg/s): repeated values below are rest, not clipping.
SMALLEST_M_S2 = 0.95 * 2 * STANDARD_GRAVITY_M_S2
SMALLEST_RAD_S = np.radians(0.95 * 125)
# In counts, where no scale is known: the extreme must stand out of the axis' usual spread this many times.
SMALLEST_SPREADS = 30


def clipped_samples(log: SensorLog) -> NDArray[np.bool_]:
    """Find samples at the end of the declared range, or of the range the samples themselves show.

    Parameters
    ----------
    log : SensorLog

    Returns
    -------
    ndarray of bool, shape (n, 2)
        True where any axis of the acceleration (first column), of the angular velocity (second) is clipped.
    """
    range_m_s2, range_rad_s = _declared(log.sensor)
    clipped = np.zeros((2, len(log.time_s)), dtype=bool).T
    for kind, (values, limit, smallest, unit) in enumerate(
        (
            (log.acceleration_m_s2, range_m_s2, SMALLEST_M_S2, log.sensor.units.acceleration),
            (log.angular_velocity_rad_s, range_rad_s, SMALLEST_RAD_S, log.sensor.units.angular_velocity),
        )
    ):
        for axis in values.T:
            low, high = np.fmin.reduce(axis), np.fmax.reduce(axis)
            if unit == "counts":
                ends = [end for end in (low, high) if _stands_out(axis, end)]
            else:
                ends = [end for end in (low, high) if abs(end) >= smallest]
            for end in ends:
                clipped[:, kind] |= _at_end(axis, end)
            if limit is not None and unit != "counts" and max(-low, high) >= AT_RANGE * limit:
                clipped[:, kind] |= np.abs(axis) >= AT_RANGE * limit
    return clipped


def _declared(sensor: Sensor) -> tuple[float | None, float | None]:
    """Declared ranges [m/s^2], [rad/s]."""
    acceleration, angular_velocity = sensor.acceleration_range_g, sensor.angular_velocity_range_deg_s
    return (
        None if acceleration is None else acceleration * STANDARD_GRAVITY_M_S2,
        None if angular_velocity is None else float(np.radians(angular_velocity)),
    )


def _at_end(axis: NDArray[np.float64], end: float) -> NDArray[np.bool_]:
    """Samples equal to an extreme that comes `REPEATS` times in a row somewhere.

    The round top of a slow swing repeats too where the resolution is coarse; but then more samples
    lie just below it than on it, whereas a signal runs into the end of a range from afar.
    """
    at_end: NDArray[np.bool_] = axis == end
    in_a_row = at_end[: 1 - REPEATS].copy()
    for shift in range(1, REPEATS):
        in_a_row &= at_end[shift : len(at_end) - REPEATS + 1 + shift]
    if in_a_row.any():
        top = np.unique(axis[np.abs(axis - end) <= 0.1 * abs(end)])
        resolution = float(np.diff(top).min()) if len(top) > 1 else 0.0
        below = np.abs(axis - end) <= max(NEAR_RATIO * abs(end), NEAR_STEPS * resolution)
        if at_end.sum() >= CROWDING * (below.sum() - at_end.sum()):
            return at_end
    return np.zeros_like(at_end)


def _stands_out(axis: NDArray[np.float64], end: float) -> bool:
    """Tell an extreme far outside the usual spread, which is at least the resolution."""
    low, middle, high = np.nanpercentile(axis, (25, 50, 75))
    steps = np.abs(np.diff(axis))
    resolution = np.min(steps, where=steps > 0, initial=np.inf)
    return bool(abs(end - middle) > SMALLEST_SPREADS * max(float(high - low), float(resolution)))
