"""Keep a span of a recording."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from imustride.recording import Recording


def window(recording: Recording, from_s: float, to_s: float) -> Recording | None:
    """Return the samples between two times on the own clock; None where there are fewer than two.

    Sample times stay as they were; `quality` still speaks of the whole log.
    """
    edges = (np.array([from_s, to_s]) - recording.start_s) * recording.rate_hz
    first, last = np.clip([np.ceil(edges[0] - 1e-6), np.floor(edges[1] + 1e-6)], -1, len(recording.measured))
    piece = slice(max(int(first), 0), int(last) + 1)
    if len(recording.measured[piece]) < 2:
        return None
    return replace(
        recording,
        start_s=recording.start_s + piece.start / recording.rate_hz,
        acceleration_m_s2=recording.acceleration_m_s2[piece],
        angular_velocity_rad_s=recording.angular_velocity_rad_s[piece],
        measured=recording.measured[piece],
        clipped=recording.clipped[piece],
    )
