"""Find every contact of one skate, from standing to the two-foot glide."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from imustride.recording import pieces
from imustride.segmentation.boundaries import BoundarySettings, Signals, lift_offs, touch_downs
from imustride.segmentation.contact_point import (
    ContactPointSettings,
    expected_arms,
    fit_contact_point,
    sliding,
)
from imustride.segmentation.counting import sample_count
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
    longest_learning_s: float = 60.0  # more teaches nothing new (measured, simulated)


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
    kinematics: Kinematics, span: slice, settings: ContactSettings
) -> tuple[Found, Sliding, Vibration | None]:
    """Alternate between the course of contacts, the contact point and the vibration channel.

    Both are learnt from the first minutes, and then serve the whole span.
    """
    rate_hz = kinematics.rate_hz
    first = slice(span.start, min(span.stop, span.start + sample_count(settings.longest_learning_s, rate_hz)))
    count = first.stop - first.start
    near = (sample_count(0.02, rate_hz), sample_count(0.03, rate_hz))
    inside = (sample_count(settings.inside_s[0], rate_hz), sample_count(settings.inside_s[1], rate_hz))
    known = kinematics.measured[first]
    found, motion, vibration = course(kinematics, first, expected_arms(settings.point), None, settings)
    for piece in (first, span):
        on, _ = masks(found, count, near)
        on[: max((found[0][1] or 0) - near[1], 0)] = True
        arms = fit_contact_point(kinematics, first, on, settings.point)
        on, off = masks(found, count, inside)
        found, motion, vibration = course(kinematics, piece, arms, (on & known, off & known), settings)
    return found, motion, vibration


def course(
    kinematics: Kinematics,
    span: slice,
    arms_m: NDArray[np.float64],
    sure: tuple[NDArray[np.bool_], NDArray[np.bool_]] | None,
    settings: ContactSettings,
) -> tuple[Found, Sliding, Vibration | None]:
    """Find the course of contacts in a span.

    Parameters
    ----------
    kinematics : Kinematics
    span : slice
    arms_m : ndarray, shape (4,)
        To the contact point.
    sure : tuple of two ndarrays of bool, shape (m,), optional
        First samples of the span surely on the ice, and surely in the air, to learn the vibration from.
    settings : ContactSettings
    """
    rate_hz = kinematics.rate_hz
    motion = sliding(kinematics, span, arms_m, settings.point)
    odds = np.empty(len(motion.known))
    for piece in pieces(len(odds)):
        odds[piece] = sliding_evidence(motion.part(piece), rate_hz, settings.sliding)
    vibration = None
    if sure is not None:
        vibration = ice_vibration(kinematics.acceleration_m_s2[span], *sure, rate_hz, settings.vibration)
    if sure is not None and vibration is not None:
        odds += vibration_evidence(vibration, *sure, motion.speed_m_s, rate_hz, settings.vibration)
    odds[~kinematics.measured[span]] = 0.0
    return contacts(odds, rate_hz, settings.durations), motion, vibration
