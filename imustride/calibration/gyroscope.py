"""What static positions tell of a gyroscope: its bias, and its matrix where gravity was turned between them."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration.between import (
    BetweenSettings,
    Turns,
    fit_between,
    missed_rad,
    rough_scale,
    turns_between,
)
from imustride.calibration.triad import NORMAL, Triad, triad
from imustride.calibration.turns import rest_level
from imustride.errors import SignalQualityError

if TYPE_CHECKING:
    from imustride.calibration.positions import Positions
    from imustride.recording import Recording

AT_REST = "bias at rest, scale as declared"
BETWEEN = "turns between positions, by gravity"
# A wrong unit shows where another one misses the turns by so little [rad], and so many times less.
CLEAR_RAD = 0.2
CLEARLY = 3.0


@dataclass(frozen=True, slots=True)
class Gyroscope:
    """A gyroscope's parameters and what they rest on.

    Parameters
    ----------
    method : str
    triad : Triad
    measured : bool
        Whether scale and skew were measured, or only the bias.
    turns : int
        Turns that were used.
    residuals : dict of str to float
        What was left, by name with unit.
    notes : tuple of str
    """

    method: str
    triad: Triad
    measured: bool
    turns: int
    residuals: dict[str, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()


def gyroscope_of_positions(
    recording: Recording,
    positions: Positions,
    settings: BetweenSettings | None = None,
) -> Gyroscope | None:
    """Find what the positions tell of the gyroscope.

    Parameters
    ----------
    recording : Recording
        Uncalibrated.
    positions : Positions
        Of the same recording.
    settings : BetweenSettings, optional

    Returns
    -------
    Gyroscope or None
        None where the recording is in counts and the turns do not give them a scale.

    Raises
    ------
    SignalQualityError
        If the turns show another unit or sign than declared.
    """
    settings = settings or BetweenSettings()
    used = positions.fit.used
    poses = positions.poses.only(used)
    bias, bias_sd = rest_level(poses.angular_velocity, poses.spans)
    from_counts = recording.sensor.units.angular_velocity == "counts"
    turns = turns_between(recording, poses, positions.fit.up[used], settings)
    if turns is not None:
        if not from_counts:
            _refuse_unit(turns, recording.sensor.units.angular_velocity or "rad/s")
        start = (rough_scale(turns, settings) if from_counts else 1.0) * np.eye(3)
        found = fit_between(turns, bias, bias_sd, start, settings, from_counts=from_counts)
        if found is not None:
            residuals = {"gyroscope_between_positions_deg": found.rms_deg}
            return Gyroscope(BETWEEN, found.triad, measured=True, turns=len(turns.first), residuals=residuals)
    if from_counts:
        return None
    note = (
        "the gyroscope's scale and skew were not measured, only its bias: turn the sensor about each axis by "
        "hand between positions, or record known turns for `imustride calibrate turns`"
    )
    only = _as_declared(bias, bias_sd)
    return Gyroscope(AT_REST, only, measured=False, turns=0, notes=(note,))


def _refuse_unit(turns: Turns, unit: str) -> None:
    """Refuse a gyroscope whose turns fit gravity in the other unit, or with the other sign."""
    missed = {scale: missed_rad(turns, scale) for scale in (1.0, np.pi / 180, 180 / np.pi, -1.0)}
    best = min(missed, key=lambda scale: missed[scale])
    if best == 1.0 or missed[best] > CLEAR_RAD or missed[best] > missed[1.0] / CLEARLY:
        return
    other = "rad/s" if unit == "deg/s" else "deg/s"
    looks = "a reversed sign" if best < 0 else other
    message = (
        f"angular velocity declared as {unit}, but against the turns of gravity between the positions this looks like "
        f"{looks}; correct the unit or the columns"
    )
    raise SignalQualityError(message)


def _as_declared(bias: np.ndarray, bias_sd: np.ndarray) -> Triad:
    return triad(
        np.zeros(3),
        np.diag(bias_sd**2),
        lambda p: (bias + p, np.eye(3)),
        NORMAL,
        from_counts=False,
    )
