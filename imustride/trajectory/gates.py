"""The gates in the fit: positions known, times on a clock of their own, and a beam that sees the body."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.trajectory.middle import interpolated

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.kinematics import BodyPath, Gates
    from imustride.trajectory.middle import Middle
    from imustride.trajectory.settings import TrackSettings

OFFSET, LEAD = (
    -2,
    -1,
)  # the last two unknowns: offset of the timing clock [s], lead of the body and start line [m]


def gate_spread(gates: Gates, settings: TrackSettings) -> NDArray[np.float64]:
    """Spread of the clock offset (free) and of the body's place against the feet at the start line."""
    known = gates.start_behind_m is not None
    behind = settings.start_behind_known_sd_m if known else settings.start_behind_sd_m
    return np.array([100.0, np.hypot(settings.lead_sd_m, behind)])


def gate_places_m(gates: Gates, settings: TrackSettings) -> NDArray[np.float64]:
    """Where the gates stand along the lane, from the feet in the stance [m], shape (g,)."""
    behind = settings.start_behind_m if gates.start_behind_m is None else gates.start_behind_m
    return np.asarray(gates.position_m + behind)


def first_passage_s(body: Middle, value: NDArray[np.float64], distance_m: float) -> float:
    """Time at which the body first lies this far along the lane [s]."""
    along = body.at(value)[:, 0]
    return float(body.time_s[np.argmax(along > min(distance_m, along.max() - 1e-6))])


def pass_gates(
    body: Middle, value: NDArray[np.float64], gates: Gates, settings: TrackSettings
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return what is left over at each gate [m], its derivatives, and the times of the gates.

    Parameters
    ----------
    body : Middle
        Middle of the feet, their steps averaged out.
    value : ndarray, shape (unknowns,)
        The offset is set here as long as it is zero.
    gates : Gates
    settings : TrackSettings
    """
    places = gate_places_m(gates, settings)
    if value[OFFSET] == 0.0:
        value[OFFSET] = first_passage_s(body, value, places[0] - settings.lead_m) - gates.time_s[0]
    times = gates.time_s + value[OFFSET]
    path = body.at(value)[:, 0]
    by = interpolated(body.time_s, body.by[:, 0], times)
    speed = np.interp(times, body.time_s, np.gradient(path, body.time_s))
    by[:, OFFSET] = np.maximum(speed, 0.5)
    by[:, LEAD] = 1.0
    return np.interp(times, body.time_s, path) + settings.lead_m + value[LEAD] - places, by, times


def contradiction_m(alone: BodyPath, gates: Gates, settings: TrackSettings) -> float:
    """Tell how far the body was from a gate at that gate's time, where the sensors alone rule that out [m].

    Parameters
    ----------
    alone : BodyPath
        From a fit without gates. The clock of the gates is laid on it at the first one.
    gates : Gates
    settings : TrackSettings

    Returns
    -------
    float
        Zero where no gate lies beyond `most_gate_sd` standard deviations.
    """
    places = gate_places_m(gates, settings) - settings.lead_m
    begun = int(np.argmax(alone.position_m > places[0]))
    times = alone.time_s[begun] + gates.time_s - gates.time_s[0]
    spread = np.linalg.norm(interpolated(alone.time_s, alone.position_root, times), axis=1)
    speed = np.interp(times, alone.time_s, alone.speed_m_s)
    # What is not known of the body at the first gate is time there, and way again at the others.
    start = float(np.hypot(gate_spread(gates, settings)[LEAD], settings.gate_sd_m))
    late = start * np.maximum(speed / max(float(alone.speed_m_s[begun]), 0.5), 1.0)
    miss = np.interp(times, alone.time_s, alone.position_m) - places
    miss[(times > alone.time_s[-1]) & (miss < 0)] = 0.0  # may yet be reached behind the end of the track
    ratio = np.abs(miss) / np.hypot(spread, late)
    worst = int(np.argmax(ratio))
    return float(miss[worst]) if ratio[worst] > settings.most_gate_sd else 0.0
