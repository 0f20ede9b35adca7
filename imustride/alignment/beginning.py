"""The beginning of a run, on which the alignment is fitted."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.alignment.forward import fit_forward
from imustride.alignment.gaps import breaks_in, mended, relevelled
from imustride.alignment.motion import strapdown, turn_about_up
from imustride.frames import level_from_gravity, turned_matrices, turned_vectors

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.alignment.forward import Fit
    from imustride.alignment.motion import BladeSettings
    from imustride.kinematics import Cut
    from imustride.recording import Recording


@dataclass(frozen=True, eq=False, slots=True)
class Beginning:
    """The first seconds of a run in the sensor's levelled axes.

    Parameters
    ----------
    span : slice
        Its samples in the recording, from the last of the stance.
    fitted : int
        So many samples are fitted; some more follow, which show whether the attitude is level.
    level_from_sensor, north : ndarray, shape (3, 3)
        `north` turns the filter's earth frame to the levelled sensor's own frame in the stance.
    force, rate : ndarray, shape (m, 3)
        Specific force [m/s^2] and angular velocity [rad/s].
    attitude : ndarray, shape (m, 3, 3)
        ``earth_from_level``.
    gravity_m_s2 : float
        As the sensor measures it in the stance.
    rate_hz : float
    breaks : ndarray of int, shape (b, 2)
        First and last sample of every stretch whose turning is not known.
    """

    span: slice
    fitted: int
    level_from_sensor: NDArray[np.float64]
    north: NDArray[np.float64]
    force: NDArray[np.float64]
    rate: NDArray[np.float64]
    attitude: NDArray[np.float64]
    gravity_m_s2: float
    rate_hz: float
    breaks: NDArray[np.int64]


def beginning_of(
    recording: Recording, earth_from_sensor: NDArray[np.float64], cut: Cut, settings: BladeSettings
) -> Beginning:
    """Level the first seconds of a run by its quiet stance."""
    stance = slice(recording.index(cut.stance_s[0]), recording.index(cut.stance_s[1]))
    up = recording.acceleration_m_s2[stance].mean(axis=0)
    level_from_sensor = level_from_gravity(up)
    heading = earth_from_sensor[stance.stop] @ level_from_sensor.T
    north = turn_about_up(np.arctan2(heading[1, 0], heading[0, 0]))
    longest = stance.stop + round(settings.longest_fit_s * recording.rate_hz)
    end = min(recording.index(cut.motion_s[1]), longest) + 1
    more = round(settings.relevel_s * recording.rate_hz)
    span = slice(stance.stop, min(end + more, len(earth_from_sensor)))
    return Beginning(
        span,
        end - stance.stop,
        level_from_sensor,
        north,
        turned_vectors(level_from_sensor, recording.acceleration_m_s2[span]),
        turned_vectors(level_from_sensor, recording.angular_velocity_rad_s[span]),
        turned_matrices(north, earth_from_sensor[span], level_from_sensor.T),
        float(np.linalg.norm(up)),
        recording.rate_hz,
        breaks_in(recording, slice(stance.stop, end), settings),
    )


def fitted(
    run: Beginning,
    lever_m: tuple[float, float, float],
    declared_rad: float | None,
    settings: BladeSettings,
) -> tuple[NDArray[np.float64], Fit]:
    """Fit the forward axis and what the breaks took; return the mended attitude and the fit."""
    if len(run.breaks):
        attitude = relevelled(run.attitude, run.force, run.rate, run.rate_hz, run.breaks, settings)
        run = replace(run, attitude=attitude)
    # The turn lost in a break may be large: a second round starts from the first one's attitude.
    for _ in range(2 if len(run.breaks) else 1):
        motion = strapdown(
            run.force[: run.fitted],
            run.rate[: run.fitted],
            run.attitude[: run.fitted],
            run.gravity_m_s2,
            run.rate_hz,
            run.breaks,
            settings,
        )
        fit = fit_forward(motion, lever_m, declared_rad, settings)
        if len(run.breaks):
            lost_rad = fit.unknowns[6:].reshape(-1, 6)[:, :3]
            run = replace(run, attitude=mended(run.attitude, run.breaks[:, 1], lost_rad))
    return run.attitude, fit
