"""Lay two logs beside each other by when both sensors moved: coarse, with any clocks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.recording import Recording

# Far shorter than a stride would match feet in turn with each other; far longer would blur a start.
BLOCK_S = 0.1
# How fast a limb turns when it surely moves: activity above says no more than activity at this rate.
MOVING_RAD_S = 2.0


def activity(recording: Recording) -> NDArray[np.float64]:
    """How much a sensor turns in blocks of `BLOCK_S`, between 0 and 1 and without its mean."""
    time_s = np.arange(0.0, len(recording.measured) / recording.rate_hz, BLOCK_S)
    edges = np.minimum((time_s * recording.rate_hz).astype(np.intp), len(recording.measured) - 1)
    squares = np.einsum("ij,ij->i", recording.angular_velocity_rad_s, recording.angular_velocity_rad_s)
    counts = np.diff(edges, append=len(recording.measured))
    mean = np.sqrt(np.add.reduceat(squares, edges) / np.maximum(counts, 1))
    bounded = np.minimum(mean / MOVING_RAD_S, 1.0)
    return np.asarray(bounded - bounded.mean())


def activity_lag_s(one: Recording, other: Recording) -> float:
    """Return time on `one`'s clock minus time on `other`'s, to about half a second [s].

    Parameters
    ----------
    one, other : Recording
        Of the same session, with any clock offset up to the length of the logs.
    """
    return one.start_s - other.start_s + shift_blocks(activity(one), activity(other)) * BLOCK_S


def shift_blocks(first: NDArray[np.float64], second: NDArray[np.float64]) -> int:
    """Return by how many blocks the second activity must come later to lie best on the first."""
    size = 1 << (len(first) + len(second) - 1).bit_length()
    spectrum = np.fft.rfft(first, size) * np.conj(np.fft.rfft(second, size))
    shift = int(np.argmax(np.fft.irfft(spectrum, size)))
    return shift - size if shift > len(first) else shift
