"""What a gap in the record takes from the attitude, and giving it back."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.frames import about_vector, turned_matrices
from imustride.recording import stretches

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.alignment.motion import BladeSettings
    from imustride.recording import Recording


def breaks_in(recording: Recording, piece: slice, settings: BladeSettings) -> NDArray[np.int64]:
    """First and last sample, from the start of the piece, of stretches whose turning is not known, shape (b, 2)."""
    unknown = ~recording.measured[piece] | recording.clipped[piece, 1]
    spans = stretches(unknown)
    long = (spans[:, 1] - spans[:, 0]) / recording.rate_hz > settings.shortest_break_s
    return np.asarray(spans[long] - [0, 1])


def relevelled(
    attitude: NDArray[np.float64],
    force: NDArray[np.float64],
    rate: NDArray[np.float64],
    rate_hz: float,
    breaks: NDArray[np.int64],
    settings: BladeSettings,
) -> NDArray[np.float64]:
    """Undo gross tilts lost in breaks: over a stride or two the mean specific force points up."""
    out = attitude.copy(order="K")
    span = round(settings.relevel_s * rate_hz)
    for k, (begin, end) in enumerate(breaks):
        until = min(end + span, breaks[k + 1, 0] if k + 1 < len(breaks) else len(out))
        if until - end < span // 3:
            continue
        mean = np.einsum("nij,nj->i", out[end:until], force[end:until])
        tilt = float(np.arctan2(np.hypot(mean[0], mean[1]), mean[2]))
        possible = settings.lost_share * fastest(rate, (begin, end), settings) * (end - begin) / rate_hz
        if settings.gross_tilt_rad < tilt < 4 * possible:
            axis = np.array([mean[1], -mean[0], 0.0]) / np.hypot(mean[0], mean[1])
            out[end:] = turned_matrices(about_vector(tilt * axis), out[end:], np.eye(3))
    return out


def fastest(rate: NDArray[np.float64], gap: tuple[int, int], settings: BladeSettings) -> float:
    """Fastest turning within a dozen samples of a gap [rad/s]."""
    beside = np.r_[max(gap[0] - 12, 0) : gap[0], gap[1] + 1 : min(gap[1] + 13, len(rate))]
    return float(np.linalg.norm(rate[beside], axis=1).max(initial=0.0)) + settings.lost_turn_rad_s


def mended(
    attitude: NDArray[np.float64], at: NDArray[np.int64], turns_rad: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Put the turns that were lost in breaks back into the attitude, from each break on."""
    out = attitude.copy(order="K")
    for begin, turn_rad in zip(at, turns_rad, strict=True):
        out[begin:] = turned_matrices(about_vector(turn_rad), out[begin:], np.eye(3))
    return out
