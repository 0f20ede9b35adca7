"""Apply a calibration to a recording."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from imustride.errors import CalibrationError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from imustride.calibration.file import Calibration, Correction
    from imustride.recording import Recording


def apply(recording: Recording, calibration: Calibration) -> Recording:
    """Correct a recording by its device's calibration.

    Parameters
    ----------
    recording : Recording
        Sensor axes; SI units, or counts where the sensor's units say so.
    calibration : Calibration
        Of the same device.

    Returns
    -------
    Recording
        SI units, sensor axes made square and true to scale.

    Raises
    ------
    CalibrationError
        If the calibration belongs to another device, or is in counts where the file is not (or
        the other way round).
    """
    sensor = recording.sensor
    if sensor.device != calibration.device:
        message = (
            f"{calibration.source}: calibration of device {calibration.device!r}; wanted {sensor.device!r} "
            f"worn at {sensor.place}; correct `device` or `calibration` in session.toml"
        )
        raise CalibrationError(message)
    return replace(
        recording,
        acceleration_m_s2=_corrected(
            recording.acceleration_m_s2,
            calibration.accelerometer,
            "acceleration",
            sensor.units.acceleration,
            calibration,
        ),
        angular_velocity_rad_s=_corrected(
            recording.angular_velocity_rad_s,
            calibration.gyroscope,
            "angular_velocity",
            sensor.units.angular_velocity,
            calibration,
        ),
    )


def _corrected(
    values: NDArray[np.float64],
    correction: Correction | None,
    quantity: str,
    unit: str | None,
    calibration: Calibration,
) -> NDArray[np.float64]:
    counts = correction is not None and correction.from_counts
    if counts != (unit == "counts"):
        message = (
            f"{calibration.source}: corrects {quantity} in {'counts' if counts else 'SI units'}, but the file's unit "
            f"is {unit}; wanted the same; correct [units] in session.toml or use the right calibration"
        )
        raise CalibrationError(message)
    if correction is None:
        return values
    return (values - correction.bias) @ correction.matrix.T
