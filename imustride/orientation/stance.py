"""What the quiet stances tell: the gyroscope's bias and, before that, whether the input can be used."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.constants import STANDARD_GRAVITY_M_S2
from imustride.errors import SignalQualityError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# A sensor at rest feels 1 g; half as much again either way is no calibration error but a wrong unit,
# a wrong column or a swapped signal. Likewise no rate sensor is off by 20 degrees a second. Common
# practice, no source.
GRAVITY_TOLERANCE = 0.5
LARGEST_BIAS_RAD_S = 0.35
# Standard deviation of the bias found in the stance before the start and in the one after the stop
# (0.03 and 0.06 degrees a second: there the skater has just stopped), and of its true change in between
# (0.04). Measured on simulated runs, seeds 6000 to 6011.
BEFORE_SD_RAD_S = 5e-4
AFTER_SD_RAD_S = 1e-3
CHANGE_SD_RAD_S = 7e-4


@dataclass(frozen=True, eq=False, slots=True)
class Rest:
    """Where a sensor stood still, as slices of its samples.

    Parameters
    ----------
    before : slice
        Quiet stance before the start.
    after : slice, optional
        Quiet stance after the stop, where there is one.
    guessed : ndarray of bool, shape (n,), optional
        Samples whose angular velocity was not measured but bridged; a tilt that shows in the second
        stance is put down to them first.
    """

    before: slice
    after: slice | None = None
    guessed: NDArray[np.bool_] | None = None


def checked(
    angular_velocity_rad_s: Floats, acceleration_m_s2: Floats, rate_hz: float, rest: Rest
) -> tuple[Floats, Floats]:
    """Return both signals as float64, or refuse what an estimator would silently spoil.

    Raises
    ------
    SignalQualityError
        If the shapes differ or are not (n, 3), a value is not finite, the rate is not positive, a
        stance is empty, or the signals at rest are not those of an accelerometer and a gyroscope.
    """
    gyro = np.asarray(angular_velocity_rad_s, dtype=np.float64)
    force = np.asarray(acceleration_m_s2, dtype=np.float64)
    if gyro.ndim != 2 or gyro.shape[1] != 3 or gyro.shape != force.shape:
        message = (
            f"orientation: found shapes {gyro.shape} (angular velocity) and {force.shape} (acceleration), "
            "wanted (n, 3) twice; cut both signals to the same samples"
        )
        raise SignalQualityError(message)
    if not rate_hz > 0:
        message = f"orientation: found a rate of {rate_hz} Hz, wanted a positive one; give the true rate"
        raise SignalQualityError(message)
    for name, signal in (("angular velocity", gyro), ("acceleration", force)):
        if not np.isfinite(signal.sum()):
            bad = np.flatnonzero(~np.isfinite(signal).all(axis=1))
            message = (
                f"orientation: {len(bad)} samples of the {name} are not numbers, the first is sample "
                f"{bad[0]}; wanted none; bridge or mask gaps first"
            )
            raise SignalQualityError(message)
    for span in (rest.before, rest.after):
        if span is not None:
            _check_stance(gyro[span], force[span], span)
    return gyro, force


def _check_stance(gyro: Floats, force: Floats, span: slice) -> None:
    """Refuse a stance that is too short or does not look like a sensor at rest."""
    where = f"orientation: stance of samples {span.start} to {span.stop}"
    if len(gyro) < 3:
        message = f"{where}: found {len(gyro)} samples, wanted at least 3; check where the stance was cut"
        raise SignalQualityError(message)
    gravity = float(np.linalg.norm(force.mean(axis=0)))
    if abs(gravity / STANDARD_GRAVITY_M_S2 - 1) > GRAVITY_TOLERANCE:
        message = (
            f"{where}: mean acceleration {gravity:.3g} m/s^2, wanted about 9.8; "
            "check the unit and the columns of the acceleration"
        )
        raise SignalQualityError(message)
    turn = float(np.linalg.norm(gyro.mean(axis=0)))
    if turn > LARGEST_BIAS_RAD_S:
        message = (
            f"{where}: mean angular velocity {turn:.3g} rad/s, wanted below {LARGEST_BIAS_RAD_S}; "
            "check the unit (rad/s, not deg/s) and the columns of the angular velocity"
        )
        raise SignalQualityError(message)


def bias_rad_s(gyro: Floats, force: Floats, rate_hz: float) -> Floats:
    """Return the gyroscope's bias [rad/s] from the samples of one quiet stance, shape (3,).

    Notes
    -----
    Nobody stands perfectly still: the mean rate holds the net turn of the sway. Gravity shows its
    two level components, so the bias is the slope of (integrated rate - turn seen by gravity). About
    the vertical only the integrated rate is there.
    """
    up = force / np.linalg.norm(force, axis=1, keepdims=True)
    mean_up = up.mean(axis=0)
    # Gravity in sensor axes moves by du/dt = u x w, hence the turn is u x (-u(t)) to first order.
    seen = np.cross(up, mean_up)
    turned = np.cumsum(gyro, axis=0) / rate_hz
    time_s = (np.arange(len(gyro)) - (len(gyro) - 1) / 2) / rate_hz
    return np.asarray(time_s @ (turned - seen) / (time_s @ time_s))


@dataclass(frozen=True, eq=False, slots=True)
class Bias:
    """The gyroscope's bias over time: `rad_s` (k, 3) at `sample` (k,).

    Constant for k = 1; for k = 2 a line in between and constant beyond.
    """

    sample: Floats
    rad_s: Floats

    def at(self, piece: slice) -> Floats:
        """Return the bias at some samples [rad/s], shape (samples, 3) or, if constant, (1, 3)."""
        if len(self.sample) == 1:
            return self.rad_s
        share = np.interp(np.arange(piece.start, piece.stop), self.sample, [0.0, 1.0])
        first, last = self.rad_s[:, :, np.newaxis]
        return np.asarray((first + share * (last - first)).T)


def bias_of(gyro: Floats, force: Floats, rate_hz: float, rest: Rest) -> Bias:
    """Return the bias of the gyroscope that the stances show.

    Notes
    -----
    Two stances show the bias twice, each with an error, and it may have changed in between: the best
    estimate at either one leans on the other, and runs linearly in time from one to the other.
    """
    first = bias_rad_s(gyro[rest.before], force[rest.before], rate_hz)
    if rest.after is None:
        return Bias(np.zeros(1), first[np.newaxis])
    last = bias_rad_s(gyro[rest.after], force[rest.after], rate_hz)
    begin = (rest.before.start + rest.before.stop - 1) / 2
    end = (rest.after.start + rest.after.stop - 1) / 2
    known, change = BEFORE_SD_RAD_S**2, CHANGE_SD_RAD_S**2
    share = np.array([known, known + change]) / (known + change + AFTER_SD_RAD_S**2)
    return Bias(np.array([begin, end]), first + np.outer(share, last - first))


def without_bias(gyro: Floats, force: Floats, rate_hz: float, rest: Rest) -> Floats:
    """Return the angular velocity without the bias of the stances."""
    return np.asarray(gyro - bias_of(gyro, force, rate_hz, rest).at(slice(0, len(gyro))))
