"""The low pass of a device, from the spectrum of its noise at rest."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.inspection.signals import rest_blocks

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.recording import Recording

# Below this sway and hands shake the sensor; above it at rest there is only its own noise.
SWAY_HZ = 12.0
SHORTEST_REST_S = 2.0
PIECE_S = 0.5
# A low pass this near to half the sampling rate cannot be told from none.
HIGHEST_PART = 0.85
SMOOTHING_HZ = 8.0


def estimate_bandwidth_hz(recording: Recording) -> float | None:
    """Estimate where the noise at rest falls to half its power.

    Parameters
    ----------
    recording : Recording
        Any unit.

    Returns
    -------
    float or None
        The lower of accelerometer and gyroscope [Hz]; None where there is too little rest, or the
        noise is white up to near half the sampling rate.

    Notes
    -----
    The sensing element's noise is white over the band of interest; what colours it is the device's
    low pass. The plateau is the median power in the lower half of what lies above sway and below
    the fall. A noise of rounding fills the spectrum again and hides the low pass: then None.
    """
    found = [
        _half_power_hz(values, recording)
        for values in (recording.acceleration_m_s2, recording.angular_velocity_rad_s)
    ]
    return min((frequency for frequency in found if frequency is not None), default=None)


def _half_power_hz(values: NDArray[np.float64], recording: Recording) -> float | None:
    frequency, power = _spectrum(values, recording)
    usable = frequency >= SWAY_HZ
    if usable.sum() < 8 or not power[usable].any():
        return None
    frequency, power = frequency[usable], power[usable]
    width = max(1, round(SMOOTHING_HZ / (frequency[1] - frequency[0])))
    kernel = np.ones(width) / width
    smooth = np.convolve(np.pad(power, (width // 2, width - 1 - width // 2), mode="edge"), kernel, "valid")
    lower = smooth[: max(1, len(smooth) // 2)]
    plateau = float(np.median(lower[lower > 0.5 * lower.max()]))
    below = smooth < 0.5 * plateau
    # The fall must last to the end of the spectrum.
    start = len(below) - int(np.argmin(below[::-1])) if not below.all() else 0
    if (
        start >= len(below)
        or frequency[start] > HIGHEST_PART * 0.5 * recording.rate_hz
        or not below[start:].all()
    ):
        return None
    return float(frequency[start])


def _spectrum(
    values: NDArray[np.float64], recording: Recording
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean power spectrum over pieces at rest, summed over the axes."""
    is_rest, size = rest_blocks(recording)
    blocks = max(1, round(PIECE_S * recording.rate_hz / size))
    length = blocks * size
    starts = [
        start * size
        for start in range(0, len(is_rest) - blocks + 1, blocks)
        if is_rest[start : start + blocks].all()
    ]
    if len(starts) * length < SHORTEST_REST_S * recording.rate_hz:
        return np.zeros(0), np.zeros(0)
    pieces = np.stack([values[start : start + length] for start in starts])
    line = np.linspace(-1, 1, length)
    pieces = pieces - pieces.mean(axis=1, keepdims=True)
    slope = np.einsum("i,pik->pk", line, pieces) / (line @ line)
    pieces = (pieces - slope[:, None, :] * line[None, :, None]) * np.hanning(length)[None, :, None]
    power = (np.abs(np.fft.rfft(pieces, axis=1)) ** 2).sum(axis=2).mean(axis=0).astype(np.float64)
    frequency = np.fft.rfftfreq(length, 1 / recording.rate_hz).astype(np.float64)
    return frequency, power
