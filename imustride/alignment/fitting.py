"""How a sensor sits on a segment of the body: the long axis by standing, the forward axis by bending.

Standing straight, shank, thigh, trunk and hanging forearm are upright: gravity shows their long axis. In a
squat shank, thigh, pelvis and trunk turn about their sideways axis: the main direction of the angular velocity across
the long axis. Which way is forward shows by what tips forward (shank, pelvis, trunk) and what tips back
(thigh). Functional axes of this kind: Favre et al. 2009, J. Biomech. 42:2330-2335 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.alignment.blade import declared_azimuth
from imustride.alignment.motion import turn_about_up
from imustride.frames import axis_vector, level_from_gravity
from imustride.segments import Fitting

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from imustride.recording import Recording

    Floats = NDArray[np.float64]

# Which way the top of a segment tips in a squat.
SQUAT = {"shank": 1.0, "thigh": -1.0, "pelvis": 1.0, "trunk": 1.0}


@dataclass(frozen=True, slots=True)
class FittingSettings:
    """Limits of a movement that shows an axis (common practice, no source)."""

    least_bend_deg: float = 12.0
    most_off_level_deg: float = 40.0  # between the axis of a bend and the horizontal plane
    least_line_ratio: float = 1.5  # of the variances of the turning along the axis and across it
    least_forward_sd_deg: float = 1.5
    worst_forward_sd_deg: float = 12.0
    declared_forward_sd_deg: float = 10.0
    upside_down_deg: float = 60.0


def kind_of(place: str) -> str:
    """Return the segment's name without its side, such as ``shank``."""
    return place.rsplit("_", maxsplit=1)[-1]


def fit_standing(
    recording: Recording,
    standing: slice,
    movements: Sequence[slice],
    settings: FittingSettings | None = None,
) -> Fitting:
    """Return how a sensor sits on its segment.

    Parameters
    ----------
    recording : Recording
        Standing straight, then movements.
    standing : slice
        Its quiet samples.
    movements : sequence of slice
        Samples of each movement; those in which the segment does not bend are passed over.
    settings : FittingSettings, optional

    Returns
    -------
    Fitting
        Without a bend the forward axis is that of the declared axes, or else unknown.
    """
    settings = settings or FittingSettings()
    level = level_from_gravity(recording.acceleration_m_s2[standing].mean(axis=0))
    rate = recording.angular_velocity_rad_s - recording.angular_velocity_rad_s[standing].mean(axis=0)
    problem = hangs_wrong(recording, level, settings)
    tips = SQUAT.get(kind_of(recording.place))
    levelled = rate @ level.T
    bends = [] if tips is None else bends_in(levelled, movements, recording.rate_hz, settings)
    if tips is None or not bends:
        return declared_fitting(recording, level, problem, settings)
    sideways, sd_rad, line = sideways_axis(np.concatenate([levelled[bend] for bend in bends]))
    # Down and up again may be two movements with a halt between: the angle counts from the standing.
    angle = np.cumsum(levelled @ sideways)
    bent = np.concatenate([angle[bend] for bend in bends]) - angle[standing].mean()
    if tips * bent[np.argmax(np.abs(bent))] < 0:
        sideways = -sideways
    forward = np.cross(sideways, [0.0, 0.0, 1.0])
    sd_rad = max(sd_rad, np.radians(settings.least_forward_sd_deg))
    if not problem and (
        sd_rad > np.radians(settings.worst_forward_sd_deg) or line < settings.least_line_ratio
    ):
        problem = f"the squats do not show one axis (it is known to {np.degrees(sd_rad):.0f} degrees); record two slow squats"
    turn = np.stack((forward, sideways, [0.0, 0.0, 1.0]))
    return Fitting(turn @ level, upright=True, forward_sd_rad=sd_rad, movements=len(bends), problem=problem)


def bends_in(
    rate: Floats, movements: Sequence[slice], rate_hz: float, settings: FittingSettings
) -> list[slice]:
    """Return the movements that bend the segment: turn it about an axis across its long one."""
    found = []
    for movement in movements:
        piece = rate[movement]
        _, axes = np.linalg.eigh(piece.T @ piece)
        off_level = np.degrees(np.arcsin(np.clip(abs(axes[2, -1]), 0, 1)))
        turned_deg = np.degrees(np.ptp(np.cumsum(piece @ axes[:, -1])) / rate_hz)
        if off_level < settings.most_off_level_deg and turned_deg > settings.least_bend_deg:
            found.append(movement)
    return found


def sideways_axis(rate: Floats) -> tuple[Floats, float, float]:
    """Return the main axis of a level turning, its standard deviation [rad] and the ratio of the variances.

    The first half of all turning and the second half each show the axis once: they tell how well it repeats.
    """
    energy = np.cumsum((rate**2).sum(axis=1))
    half = int(np.searchsorted(energy, energy[-1] / 2))
    axes = []
    for piece in (rate, rate[:half], rate[half:]):
        values, vectors = np.linalg.eigh(piece[:, :2].T @ piece[:, :2])
        axes.append(np.array([*vectors[:, 1], 0.0]))
        if piece is rate:
            line = float(values[1] / max(values[0], 1e-12))
    apart = np.arccos(np.clip(abs(axes[1] @ axes[2]), 0, 1))
    return axes[0], float(apart / 2), line


def hangs_wrong(recording: Recording, level: Floats, settings: FittingSettings) -> str:
    """Say when the declared axes contradict gravity while standing."""
    axes = recording.sensor.axes
    if axes is None:
        return ""
    off_deg = float(np.degrees(np.arccos(np.clip(level[2] @ axis_vector(axes[2]), -1, 1))))
    if off_deg < settings.upside_down_deg:
        return ""
    how = "upside down" if off_deg > 180 - settings.upside_down_deg else f"{off_deg:.0f} degrees away"
    return (
        f"standing straight, the axis declared to point up ({axes[2]}) is {how}; turn the sensor, correct axes in "
        "session.toml, or leave them out"
    )


def declared_fitting(recording: Recording, level: Floats, problem: str, settings: FittingSettings) -> Fitting:
    """Return the fitting where no bend was recorded: forward as declared, else unknown."""
    axes = recording.sensor.axes
    if axes is None or problem:
        return Fitting(level, upright=True, forward_sd_rad=np.inf, problem=problem)
    turn = turn_about_up(declared_azimuth(axes, level))
    return Fitting(turn @ level, upright=True, forward_sd_rad=np.radians(settings.declared_forward_sd_deg))
