"""Find the quiet stance before the start, the motion of the run and the stance after the stop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from imustride.errors import SignalQualityError
from imustride.kinematics import Cut
from imustride.recording import stretches

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.recording import Recording


@dataclass(frozen=True, slots=True)
class StanceSettings:
    """Limits of a quiet stance (common practice, no source).

    People on skates sway: the limits lie above sway and well below any step.
    """

    block_s: float = 0.1
    quiet_rate_deg_s: float = 10.0
    quiet_rate_sd_deg_s: float = 4.0
    quiet_acceleration_sd_m_s2: float = 0.8
    shortest_stance_s: float = 0.8
    enough_stance_s: float = 3.0  # what the protocol asks for: a longer one tells little more
    longest_stance_s: float = 6.0
    joining_pause_s: float = 0.8
    shortest_motion_s: float = 1.0
    guard_s: float = 0.1


def block_statistics(
    values: NDArray[np.float64], size: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean and standard deviation of blocks of `size` rows, each of shape (blocks, axes)."""
    count = len(values) // size
    blocks = values[: count * size].T.reshape(-1, count, size)
    mean = blocks.mean(axis=2)
    square = np.einsum("abs,abs->ab", blocks, blocks) / size
    return mean.T, np.sqrt(np.maximum(square - mean**2, 0.0)).T


def quiet_blocks(
    recording: Recording, settings: StanceSettings
) -> tuple[NDArray[np.bool_], NDArray[np.float64], int]:
    """Mark quiet blocks; also the rotation energy of each block [rad^2/s] and the block size."""
    size = max(round(settings.block_s * recording.rate_hz), 2)
    rate_mean, rate_sd = block_statistics(recording.angular_velocity_rad_s, size)
    _, acceleration_sd = block_statistics(recording.acceleration_m_s2, size)
    quiet, turning, spread = calm(rate_mean, rate_sd, acceleration_sd, settings)
    measured = recording.measured[: len(quiet) * size].reshape(-1, size).all(axis=1)
    energy = (turning**2 + spread**2) * size / recording.rate_hz
    return quiet & measured, energy, size


def calm(
    rate_mean: NDArray[np.float64],
    rate_sd: NDArray[np.float64],
    acceleration_sd: NDArray[np.float64],
    settings: StanceSettings,
) -> tuple[NDArray[np.bool_], NDArray[np.float64], NDArray[np.float64]]:
    """Mark quiet blocks by their statistics, each of shape (n, 3) [rad/s, m/s^2].

    Returns
    -------
    quiet : ndarray of bool, shape (n,)
    turning, spread : ndarray, shape (n,)
        Angular velocity of each block without the gyroscope's bias, and how much it varies [rad/s].
    """
    spread = np.linalg.norm(rate_sd, axis=1)
    floor = np.quantile(spread, 0.05)
    calm = spread <= np.quantile(spread, 0.15)
    # The calmest blocks tell the gyro's bias well enough to see rotation below its level.
    turning = np.linalg.norm(rate_mean - np.median(rate_mean[calm], axis=0), axis=1)
    shaking = np.linalg.norm(acceleration_sd, axis=1)
    quiet = (
        (turning < np.radians(settings.quiet_rate_deg_s))
        & (spread < max(np.radians(settings.quiet_rate_sd_deg_s), 2.5 * floor))
        & (shaking < max(settings.quiet_acceleration_sd_m_s2, 2.5 * np.quantile(shaking, 0.05)))
    )
    return quiet, turning, spread


def cut(recording: Recording, settings: StanceSettings | None = None) -> Cut:
    """Find the run in a recording: the motion with the most rotation and the stances around it.

    Parameters
    ----------
    recording : Recording
        One sensor's run, with at least the quiet stance and the sprint.
    settings : StanceSettings, optional

    Returns
    -------
    Cut
        Times on the sensor's own clock. `stop_s` is the first long quiet span after the motion;
        whether the skater really stood still then is for the caller to confirm.

    Raises
    ------
    SignalQualityError
        If nothing moves, or no quiet stance precedes the motion.
    """
    settings = settings or StanceSettings()
    if len(recording.measured) < settings.shortest_motion_s * recording.rate_hz:
        length_s = len(recording.measured) / recording.rate_hz
        message = f"{recording.place}: the log lasts {length_s:.2f} s; wanted a stance of 3 s and a run; check the file"
        raise SignalQualityError(message)
    quiet, energy, size = quiet_blocks(recording, settings)
    step_s = size / recording.rate_hz
    moving = ~quiet
    pauses = stretches(quiet)
    for first, last in pauses:
        if first > 0 and last < len(quiet) and (last - first) * step_s < settings.joining_pause_s:
            moving[first:last] = True
    movements = stretches(moving)
    name = recording.place
    if len(movements) == 0:
        message = f"{name}: nothing moves in this recording; wanted a run; check the file and its units"
        raise SignalQualityError(message)
    total = np.array([energy[first:last].sum() for first, last in movements])
    first, last = movements[np.argmax(total)]
    if (last - first) * step_s < settings.shortest_motion_s:
        message = (
            f"{name}: the longest motion lasts {(last - first) * step_s:.1f} s; wanted a run of at least "
            f"{settings.shortest_motion_s:g} s; check the file and its units"
        )
        raise SignalQualityError(message)
    stance = stance_before(quiet, first, step_s, settings)
    if stance is None:
        message = (
            f"{name}: no quiet stance of {settings.shortest_stance_s:g} s before the start at "
            f"{recording.start_s + first * step_s:.2f} s; wanted at least 3 s of quiet standing; "
            f"record the stance, or set start_s of the run"
        )
        raise SignalQualityError(message)
    start_s = recording.start_s
    stop = stance_after(quiet, last, step_s, settings)
    return Cut(
        stance_s=(start_s + stance[0] * step_s, start_s + stance[1] * step_s - settings.guard_s),
        motion_s=(start_s + first * step_s, start_s + last * step_s),
        stop_s=None if stop is None else (start_s + stop[0] * step_s, start_s + stop[1] * step_s),
    )


def stance_before(
    quiet: NDArray[np.bool_], first: int, step_s: float, settings: StanceSettings
) -> tuple[int, int] | None:
    """Return the last quiet span that ends where the motion begins, if it is long enough."""
    if first == 0:
        return None
    begin = stretches(quiet[:first])[-1][0]
    begin = max(begin, first - round(settings.longest_stance_s / step_s))
    return (int(begin), first) if (first - begin) * step_s >= settings.shortest_stance_s else None


def stance_after(
    quiet: NDArray[np.bool_], last: int, step_s: float, settings: StanceSettings
) -> tuple[int, int] | None:
    """Return the first quiet span after the motion that lasts long enough, else the longest one, if there is one.

    What lies in the log behind it, such as hours on a shelf, says less of the run: only its first seconds are kept.
    """
    after = stretches(quiet[last:]) + last
    if len(after) == 0:
        return None
    lasts_s = np.diff(after, axis=1)[:, 0] * step_s
    begin, end = after[np.argmax(np.minimum(lasts_s, settings.enough_stance_s))]
    end = min(end, begin + round(settings.longest_stance_s / step_s))
    return (int(begin), int(end)) if (end - begin) * step_s >= settings.shortest_stance_s else None
