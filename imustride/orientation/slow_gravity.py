"""Gravity as the mean specific force over more than a minute: what bounds the tilt of long skating."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.orientation.tilt import Tilt, lean, rotated
from imustride.recording import PIECE, pieces

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.orientation.stance import Rest

    Floats = NDArray[np.float64]

# A Hann window of this width holds less than 1 % of anything that repeats within 30 s, as a lap of a
# rink does: a bend feels like a lean of 11 degrees. Chosen on simulated laps and straights.
WINDOW_S = 80.0
BLOCK_S = 0.5


def applies(count: int, rate_hz: float, rest: Rest) -> bool:
    """Tell whether the feet move for so long that the window fits between the stances."""
    end = count if rest.after is None else rest.after.start
    return bool((end - rest.before.stop) / rate_hz >= WINDOW_S)


def slow_tilt(earth_from_sensor: Floats, force: Floats, rate_hz: float, rest: Rest) -> Tilt:
    """Return the tilt that the mean specific force over the window shows.

    Parameters
    ----------
    earth_from_sensor : ndarray, shape (n, 4)
        Unit quaternions, scalar first.
    force : ndarray, shape (n, 3)
        Specific force in sensor axes [m/s^2].
    rate_hz : float
    rest : Rest

    Returns
    -------
    Tilt
        To be taken away; nothing in the stance before, and growing over half a window from there.

    Notes
    -----
    Averaged over the window in earth axes the acceleration is the change of speed through the window,
    below 0.1 m/s^2 or half a degree even from standing to full speed. At the end of the log half a
    window is all there is, and a stop costs twice that; a stance after it puts it right (`closing`).
    """
    middle, blocks = _block_means(earth_from_sensor, force, max(int(BLOCK_S * rate_hz), 1))
    window = np.hanning(2 * int(WINDOW_S / BLOCK_S / 2) + 3)[1:-1]
    smooth = np.column_stack([np.convolve(axis, window) for axis in blocks.T])
    smooth = smooth[len(window) // 2 :][: len(blocks)]
    trust = np.clip((middle - rest.before.stop) / rate_hz / (WINDOW_S / 2), 0.0, 1.0)
    return Tilt(middle, trust[:, np.newaxis] * lean(smooth))


def _block_means(earth_from_sensor: Floats, force: Floats, length: int) -> tuple[Floats, Floats]:
    """Return the middle sample (k,) and the mean specific force in earth axes (k, 3) of each block."""
    starts = np.arange(0, len(force), length)
    stops = np.append(starts[1:], len(force))
    sums = []
    for piece in pieces(len(force), length * max(PIECE // length, 1)):
        turned = rotated(earth_from_sensor[piece], force[piece])
        sums.append(np.add.reduceat(turned.T, np.arange(0, len(turned), length), axis=1).T)
    return (starts + stops - 1) / 2, np.concatenate(sums) / (stops - starts)[:, np.newaxis]
