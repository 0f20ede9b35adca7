"""How quiet a sensor is in its quietest moments, however loud that is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from imustride.recording import Recording

BLOCK_S = 0.25
# The calmest tenth of a run is the stance; of the guided form nearly all is.
CALM = 0.1
FEWEST_BLOCKS = 8


def quietest(recording: Recording) -> tuple[float, float] | None:
    """Return the noise of one axis in the calmest tenth of the log: acceleration [m/s^2], angular velocity [deg/s].

    Parameters
    ----------
    recording : Recording

    Returns
    -------
    tuple of float, or None
        Standard deviations, root mean square over the axes; None where the log is too short.
    """
    size = max(round(BLOCK_S * recording.rate_hz), 4)
    count = len(recording.measured) // size
    whole = recording.measured[: count * size].reshape(count, size).all(axis=1)
    if whole.sum() < FEWEST_BLOCKS:
        return None
    levels = []
    for values in (recording.acceleration_m_s2, recording.angular_velocity_rad_s):
        blocks = values[: count * size].reshape(count, size, 3)[whole]
        levels.append(float(np.quantile(np.sqrt(blocks.var(axis=1).mean(axis=1)), CALM)))
    return levels[0], float(np.degrees(levels[1]))
