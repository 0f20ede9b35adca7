"""From time stamps as found to an even grid on the sensor's own clock.

Stamps are what a logger wrote down, not when a sample was taken: rounded, jittering, repeated,
with holes. `regularise` says what was found, recovers the sampling instants, and hands on evenly
sampled signals in which every sample knows whether it was measured.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.errors import SignalQualityError
from imustride.loaders.clipping import clipped_samples
from imustride.loaders.filling import fill
from imustride.loaders.stamps import Instants, instants
from imustride.recording import Recording, SamplingQuality, stretches

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.recording import SensorLog

# Lost samples are bridged by interpolation only where the hole (from sample to sample) is at most
# this long and at most this many samples were lost; a single lost sample always is. 20 ms is half
# of the shortest feature that carries an event: touch-down and blade-off change the course of the
# angular rate over 40 ms and more (content below 25 Hz, which samples 20 ms apart still carry).
# Vibration of the blade on the ice cannot be interpolated at all: more than 3 samples without it
# would look like a blade in the air. Both limits: common practice, no source.
BRIDGE_S = 0.020
BRIDGE_SAMPLES = 3
# A log with more holes than this (grid points a sample, beyond the first million) is not one recording.
MOST_HOLES = 20
FREE_POINTS = 1_000_000


def regularise(log: SensorLog) -> Recording:
    """Resample a log evenly on its own clock.

    Parameters
    ----------
    log : SensorLog

    Returns
    -------
    Recording
        An evenly stamped log comes back with its samples untouched. Holes are bridged where short
        (`BRIDGE_S`, `BRIDGE_SAMPLES`), else filled by a straight line and False in `measured`.

    Raises
    ------
    SignalQualityError
        If there are too few samples, or time runs backwards.
    """
    found = instants(log, BRIDGE_S)
    acceleration, angular_velocity = log.acceleration_m_s2, log.angular_velocity_rad_s
    clipped = clipped_samples(log)
    if found.rows is not None:
        acceleration, angular_velocity = acceleration[found.rows], angular_velocity[found.rows]
        clipped = clipped[found.rows]
    count = _grid_points(found, log)
    bridge = max(2.0, min(BRIDGE_S / found.period_s, BRIDGE_SAMPLES + 1.0)) + 0.1
    acceleration, lost, masked = fill(found.place, found.number, acceleration, count, bridge)
    angular_velocity, also_lost, also_masked = fill(
        found.place, found.number, angular_velocity, count, bridge
    )
    measured = ~(masked | also_masked)
    lost = lost | also_lost
    clipped = np.stack([_on_grid(kind, found.place, count) for kind in clipped.T]).T
    return Recording(
        sensor=log.sensor,
        start_s=found.start_s,
        rate_hz=1.0 / found.period_s,
        acceleration_m_s2=np.asfortranarray(acceleration),
        angular_velocity_rad_s=np.asfortranarray(angular_velocity),
        measured=measured,
        clipped=clipped,
        quality=SamplingQuality(
            stamps=len(log.time_s),
            jitter_sd_s=found.jitter_sd_s,
            duplicates=found.duplicates,
            missing_samples=int(lost.sum()),
            gaps=_spans(~measured, found),
            bridged=len(stretches(lost & measured)),
            clipped_samples=int(np.count_nonzero(clipped[:, 0] | clipped[:, 1])),
            notes=log.notes,
        ),
    )


def _grid_points(found: Instants, log: SensorLog) -> int:
    count = int(np.rint(found.place[-1])) + 1
    if count > MOST_HOLES * len(found.place) + FREE_POINTS:
        at = int(np.argmax(np.diff(found.place)))
        row = at + 2 if found.rows is None else int(found.rows[at + 1]) + 1
        jump = (found.place[at + 1] - found.place[at]) * found.period_s
        message = (
            f"{log.source}: time jumps by {jump:.6g} s at row {row}; wanted one recording without such a hole; "
            "cut the file there or repair the column"
        )
        raise SignalQualityError(message)
    return count


def _on_grid(flags: NDArray[np.bool_], place: NDArray[np.float64], count: int) -> NDArray[np.bool_]:
    """Flag the grid points on both sides of every flagged sample."""
    even = np.zeros(count, dtype=bool)
    if flags.any():
        at = place[flags]
        for side in (np.floor(at + 0.1), np.ceil(at - 0.1)):
            even[np.clip(side.astype(np.intp), 0, count - 1)] = True
    return even


def _spans(masked: NDArray[np.bool_], found: Instants) -> tuple[tuple[float, float], ...]:
    """Spans from the last measured sample before each hole to the first after it, own clock [s]."""
    if not masked.any():
        return ()
    first, after = stretches(masked).T
    before, behind = np.maximum(first - 1, 0), np.minimum(after, len(masked) - 1)
    times = found.start_s + np.stack((before, behind), axis=1) * found.period_s
    return tuple((float(start), float(to)) for start, to in times)
