"""Free ringing after a blow: frequency, decay and size of what keeps moving.

Damped oscillations are fitted by a matrix pencil (Hua and Sarkar 1990, doi 10.1109/29.56027) to all axes at once: one set of
frequencies and decays, one amplitude an axis.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.recording import Recording

# The foot itself has stopped by then, and skate and boot have rung out for the most part (simulated: 30 ms at most).
AFTER_BLOW_S = 0.05
LONGEST_S = 0.35
SHORTEST_S = 0.12
# What rings above half of this would fold down into the frequencies asked for; more only costs time.
RATE_HZ = 440.0
MODES = 3  # pairs of poles: a mount, the skate's rest, sway
UNDAMPED_S = 2.0  # what lasts longer is no ringing but tremor or a machine nearby


@dataclass(frozen=True, slots=True)
class Ring:
    """One damped oscillation; `size` is its amplitude over all axes at the start of the piece."""

    hz: float
    decay_s: float
    size: float

    @property
    def damping(self) -> float:
        """Damping as a share of the critical one."""
        return 1.0 / max(2.0 * np.pi * self.hz * self.decay_s, 1e-9)


def rings_after(
    recording: Recording, blow_s: float, until_s: float
) -> tuple[tuple[Ring, ...], tuple[Ring, ...]] | None:
    """Return what rings after a blow in the acceleration [m/s^2] and in the angular velocity [deg/s].

    Parameters
    ----------
    recording : Recording
    blow_s, until_s : float
        Time of the blow and of the next event, own clock [s].

    Returns
    -------
    tuple of tuple of Ring, or None
        None where too little time is left, or samples are missing.
    """
    first, last = (recording.index(at) for at in (blow_s + AFTER_BLOW_S, min(until_s, blow_s + LONGEST_S)))
    if last - first < SHORTEST_S * recording.rate_hz or not recording.measured[first:last].all():
        return None
    every = max(int(recording.rate_hz / RATE_HZ), 1)
    acceleration = averaged(recording.acceleration_m_s2[first:last], every)
    turning = averaged(np.degrees(recording.angular_velocity_rad_s[first:last]), every)
    rate_hz = recording.rate_hz / every
    return rings(acceleration, rate_hz), rings(turning, rate_hz)


def averaged(values: NDArray[np.float64], every: int) -> NDArray[np.float64]:
    """Return means over `every` rows, their mean over all taken out."""
    count = len(values) // every
    means = values[: count * every].reshape(count, every, -1).mean(axis=1)
    return np.asarray(means - means.mean(axis=0))


def rings(values: NDArray[np.float64], rate_hz: float) -> tuple[Ring, ...]:
    """Fit damped oscillations, largest energy first.

    Parameters
    ----------
    values : ndarray, shape (n, axes)
    rate_hz : float
    """
    pencil = len(values) // 3
    hankel = np.concatenate(
        [np.lib.stride_tricks.sliding_window_view(axis, len(values) - pencil) for axis in values.T], axis=1
    )
    basis = np.linalg.svd(hankel, full_matrices=False)[0][:, : 2 * MODES]
    poles = np.linalg.eigvals(np.linalg.lstsq(basis[:-1], basis[1:], rcond=None)[0])
    poles = poles[(np.abs(poles) > 1e-3) & (np.abs(poles) < 1.2)]
    powers = poles[None, :] ** np.arange(len(values))[:, None]
    sizes = np.linalg.norm(np.linalg.lstsq(powers, values.astype(complex), rcond=None)[0], axis=1)
    energy = sizes**2 * (np.abs(powers) ** 2).sum(axis=0)
    found = []
    for k in np.argsort(-energy):
        fading = -float(np.log(np.abs(poles[k])))
        hz = float(np.angle(poles[k])) * rate_hz / (2 * np.pi)
        if hz > 0 and fading * UNDAMPED_S * rate_hz > 1.0:
            found.append(Ring(hz, 1.0 / (fading * rate_hz), 2.0 * float(sizes[k])))
    return tuple(found)
