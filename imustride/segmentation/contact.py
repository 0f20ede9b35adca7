"""Find every contact of one skate, from standing to the two-foot glide."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from imustride.segmentation.durations import DurationSettings, contacts, smoothed
from imustride.segmentation.instants import (
    InstantSettings,
    mean_instant,
    steady_likelihood,
    step_likelihood,
    windows,
)
from imustride.segmentation.sliding import Sliding, SlidingSettings, sliding, sliding_evidence
from imustride.segmentation.vibration import Vibration, VibrationSettings, contrast_filter, filtered_energy

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.kinematics import Kinematics


@dataclass(frozen=True, slots=True)
class ContactSettings:
    """All thresholds of the stage."""

    sliding: SlidingSettings = field(default_factory=SlidingSettings)
    durations: DurationSettings = field(default_factory=DurationSettings)
    vibration: VibrationSettings = field(default_factory=VibrationSettings)
    instants: InstantSettings = field(default_factory=InstantSettings)
    margin_s: float = 0.06
    after_motion_s: float = 0.5


def masks(
    found: list[tuple[int, int | None]], length: int, margin: int
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Samples well inside contacts (without the standing one) and well inside swings."""
    on, off = np.zeros(length, bool), np.zeros(length, bool)
    for k, (begin, end) in enumerate(found):
        stop = length if end is None else end
        if k > 0 and stop - begin > 2 * margin:
            on[begin + margin : stop - margin] = True
        if end is not None and k + 1 < len(found):
            off[end + margin : found[k + 1][0] - margin] = True
    return on, off


def find_contacts(kinematics: Kinematics, settings: ContactSettings | None = None) -> NDArray[np.float64]:
    """Return blade-on and blade-off of every contact, own clock [s].

    Parameters
    ----------
    kinematics : Kinematics
    settings : ContactSettings, optional

    Returns
    -------
    ndarray, shape (k, 2)
        The first begins with the stance and has NaN for its blade-on; the last, in which the skater
        glides or the log ends, has NaN for its blade-off.
    """
    settings = settings or ContactSettings()
    rate_hz = kinematics.rate_hz
    first = round((kinematics.cut.stance_s[1] - kinematics.start_s) * rate_hz)
    last = round((kinematics.cut.motion_s[1] + settings.after_motion_s - kinematics.start_s) * rate_hz)
    piece = slice(max(first, 0), min(last, len(kinematics.measured)))
    motion = sliding(kinematics, settings.sliding)
    motion = Sliding(motion.slip_m_s[piece], motion.rise_m_s[piece], motion.speed_m_s[piece])
    acceleration = kinematics.acceleration_m_s2[piece]
    odds = sliding_evidence(motion, rate_hz, settings.sliding)
    found = contacts(odds, rate_hz, settings.durations)
    if len(found) < 2:
        return np.array([[np.nan, np.nan]])
    vibration = None
    for _ in range(2):
        vibration = ice_vibration(acceleration, found, rate_hz, settings)
        if vibration is None or vibration.contrast < settings.vibration.smallest_contrast:
            break
        more = vibration_evidence(vibration, found, motion, rate_hz, settings)
        found = contacts(odds + more, rate_hz, settings.durations)
    return refined(found, motion, vibration, rate_hz, settings) + (kinematics.start_s + piece.start / rate_hz)


def ice_vibration(
    acceleration: NDArray[np.float64], found: list[tuple[int, int | None]], rate_hz: float, settings: ContactSettings
) -> Vibration | None:
    """Return the vibration channel learnt from sure contacts and swings; None with too little of either."""
    on, off = masks(found, len(acceleration), round(settings.margin_s * rate_hz))
    taps = max(round(settings.vibration.filter_s * rate_hz) | 1, settings.vibration.fewest_taps)
    if on.sum() < 4 * taps or off.sum() < 4 * taps:
        return None
    coefficients, contrast = contrast_filter(acceleration, on, off, taps)
    return Vibration(coefficients, filtered_energy(acceleration, coefficients), contrast)


def vibration_evidence(
    vibration: Vibration,
    found: list[tuple[int, int | None]],
    motion: Sliding,
    rate_hz: float,
    settings: ContactSettings,
) -> NDArray[np.float64]:
    """Log odds a sample from the smoothed energy, each state described by its own recording."""
    limits = settings.vibration
    width = round(limits.smoothing_s * rate_hz)
    level = np.log(smoothed(vibration.energy, width) + 1e-9)
    on, off = masks(found, len(level), round(settings.margin_s * rate_hz))
    loud, still = np.median(level[on]), np.median(level[off])
    sd_on = max(1.4826 * np.median(np.abs(level[on] - loud)), limits.spread_floor_log)
    sd_off = max(1.4826 * np.median(np.abs(level[off] - still)), limits.spread_floor_log)
    odds = (
        -0.5 * ((np.minimum(level, loud) - loud) / sd_on) ** 2
        + 0.5 * ((np.maximum(level, still) - still) / sd_off) ** 2
        - np.log(sd_on / sd_off)
    )
    odds = np.clip(odds, -limits.largest_odds, limits.largest_odds)
    # A blade that stands or creeps hardly vibrates: there silence says nothing.
    odds = np.where(odds < 0, odds * np.clip(motion.speed_m_s / limits.slow_m_s, 0, 1) ** 2, odds)
    return odds / (limits.independent_s * rate_hz)


def refined(
    found: list[tuple[int, int | None]],
    motion: Sliding,
    vibration: Vibration | None,
    rate_hz: float,
    settings: ContactSettings,
) -> NDArray[np.float64]:
    """Return the contacts' instants [s from the first sample], shape (k, 2)."""
    out = np.full((len(found), 2), np.nan)
    ons = np.array([begin for begin, _ in found[1:]])
    offs = np.array([end for _, end in found[:-1]])
    if len(ons):
        out[1:, 0] = instants(ons, motion, vibration, rate_hz, settings, lift_off=False)
        out[:-1, 1] = instants(offs, motion, vibration, rate_hz, settings, lift_off=True)
    return out


def instants(
    near: NDArray[np.int64],
    motion: Sliding,
    vibration: Vibration | None,
    rate_hz: float,
    settings: ContactSettings,
    *,
    lift_off: bool,
) -> NDArray[np.float64]:
    """Return the refined instants [s] of boundaries found near samples."""
    limits = settings.instants
    half, reach = round(limits.window_s * rate_hz), round(limits.search_s * rate_hz)
    turn = -1 if lift_off else 1
    total = np.zeros((len(near), 2 * half + 1))
    for signal, sd in ((motion.rise_m_s, limits.rise_sd_m_s), (motion.slip_m_s, limits.slip_sd_m_s)):
        piece = windows(signal, near, half)[:, ::turn]
        total += limits.kinematic_weight * steady_likelihood(piece, sd, 3) * 200 / rate_hz
    if vibration is not None:
        energy = windows(vibration.energy, near, half)[:, ::turn]
        edge = max(half - reach, 2)
        quiet = np.median(energy[:, :edge], axis=1) / 0.79
        loud = np.maximum(np.median(energy[:, -edge:], axis=1) / 0.79, 1.01 * quiet)
        floor = 1e-9 + 0.3 * np.median(quiet)
        share = np.cumsum(vibration.taps**2)
        total += limits.vibration_weight * step_likelihood(
            energy, np.maximum(quiet, floor), np.maximum(loud, 1.01 * floor), share
        )
    total = np.where(np.isfinite(total), total, -1e9)
    mean, _ = mean_instant(total, reach)
    return (near + turn * mean) / rate_hz
