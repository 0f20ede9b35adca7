"""Find every contact of one skate, from standing to the two-foot glide."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from imustride.segmentation.boundaries import BoundarySettings, Signals, lift_offs, touch_downs
from imustride.segmentation.contact_point import (
    ContactPointSettings,
    expected_arms,
    fit_contact_point,
    lever,
    sliding,
)
from imustride.segmentation.durations import DurationSettings, contacts
from imustride.segmentation.plausible import PlausibleSettings, plausible
from imustride.segmentation.sliding import SlidingSettings, sliding_evidence
from imustride.segmentation.vibration import VibrationSettings, ice_vibration, vibration_evidence

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.kinematics import Kinematics
    from imustride.segmentation.contact_point import Sliding
    from imustride.segmentation.vibration import Vibration

Found = list[tuple[int, int | None]]


@dataclass(frozen=True, slots=True)
class ContactSettings:
    """All thresholds of the stage."""

    point: ContactPointSettings = field(default_factory=ContactPointSettings)
    sliding: SlidingSettings = field(default_factory=SlidingSettings)
    durations: DurationSettings = field(default_factory=DurationSettings)
    vibration: VibrationSettings = field(default_factory=VibrationSettings)
    boundaries: BoundarySettings = field(default_factory=BoundarySettings)
    plausible: PlausibleSettings = field(default_factory=PlausibleSettings)
    inside_s: tuple[float, float] = (0.05, 0.06)  # of a contact, from its ends, to be sure of it
    after_motion_s: float = 0.5


def masks(found: Found, length: int, inside: tuple[int, int]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Samples surely on the ice (without the standing contact) and surely in the air."""
    on, off = np.zeros(length, bool), np.zeros(length, bool)
    for k, (begin, end) in enumerate(found):
        if k > 0:
            on[begin + inside[0] : max((length if end is None else end) - inside[1], 0)] = True
        if end is not None and k + 1 < len(found):
            # Motion shows both boundaries late into the swing: all between them is air.
            off[end : found[k + 1][0]] = True
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
    acceleration = kinematics.acceleration_m_s2[piece]
    found, motion, vibration = coarse_contacts(kinematics, piece, settings)
    pitch = -np.arcsin(np.clip(kinematics.earth_from_segment[piece, 2, 0], -1, 1))
    pitch_rate = kinematics.angular_velocity_rad_s[piece, 1]
    found = plausible(found, pitch, pitch_rate, rate_hz, settings.plausible)
    out = np.full((len(found), 2), np.nan)
    if len(found) > 1:
        signals = Signals(motion, kinematics.angular_velocity_rad_s[piece, 2], acceleration, rate_hz)
        ons = np.array([begin for begin, _ in found[1:]])
        offs = np.array([end for _, end in found[:-1]])
        out[1:, 0] = touch_downs(signals, ons, vibration, settings.boundaries)
        out[:-1, 1] = lift_offs(signals, offs, settings.boundaries)
        out = in_order(out, found)
    return kinematics.start_s + (piece.start + out) / rate_hz


def in_order(instants: NDArray[np.float64], found: Found) -> NDArray[np.float64]:
    """Fall back on the boundaries found where two refined instants crossed."""
    rough = np.array([(begin, np.nan if end is None else end) for begin, end in found], float)
    rough[0, 0] = np.nan
    line, back = instants.ravel()[1:-1], rough.ravel()[1:-1]
    crossed = np.diff(line) <= 0
    bad = np.concatenate((crossed, [False])) | np.concatenate(([False], crossed))
    line[bad] = back[bad]
    return instants


def coarse_contacts(
    kinematics: Kinematics, piece: slice, settings: ContactSettings
) -> tuple[Found, Sliding, Vibration | None]:
    """Alternate between the course of contacts, the contact point and the vibration channel."""
    rate_hz = kinematics.rate_hz
    parts = lever(kinematics, piece, settings.point)
    motion = sliding(parts, expected_arms(settings.point), settings.point)
    odds = sliding_evidence(motion, rate_hz, settings.sliding)
    known = kinematics.measured[piece]
    found = contacts(np.where(known, odds, 0.0), rate_hz, settings.durations)
    inside = (round(settings.inside_s[0] * rate_hz), round(settings.inside_s[1] * rate_hz))
    vibration: Vibration | None = None
    for _ in range(2):
        if len(found) < 2:
            break
        near = (round(0.02 * rate_hz), round(0.03 * rate_hz))
        on, _ = masks(found, len(odds), near)
        on[: max((found[0][1] or 0) - near[1], 0)] = True
        motion = sliding(parts, fit_contact_point(parts, on, settings.point), settings.point)
        odds = sliding_evidence(motion, rate_hz, settings.sliding)
        on, off = masks(found, len(odds), inside)
        on, off = on & known, off & known
        acceleration = kinematics.acceleration_m_s2[piece]
        vibration = ice_vibration(acceleration, on, off, rate_hz, settings.vibration)
        if vibration is not None:
            odds = odds + vibration_evidence(
                vibration, on, off, motion.speed_m_s, rate_hz, settings.vibration
            )
        found = contacts(np.where(known, odds, 0.0), rate_hz, settings.durations)
    return found, motion, vibration
