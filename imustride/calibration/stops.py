"""Finds whole turns against a stop: rest, one turn about an axis of the housing, rest."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration.positions import calm_floor, rough_gravity
from imustride.calibration.rest import calmness, poses_of, spans_at, still_spans
from imustride.calibration.turns import (
    AXES,
    KnownTurns,
    TurnSettings,
    refuse_clipped,
    rest_level,
    single_axes,
)
from imustride.constants import STANDARD_GRAVITY_M_S2
from imustride.errors import SignalQualityError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from imustride.calibration.rest import Poses
    from imustride.recording import Recording

    Floats = NDArray[np.float64]
    Spans = NDArray[np.intp]


def find_stops(
    recording: Recording,
    turn_deg: float = 360.0,
    times_s: Sequence[tuple[float, float]] = (),
    settings: TurnSettings | None = None,
) -> KnownTurns:
    """Find the turns of a known angle about the sensor's axes.

    Parameters
    ----------
    recording : Recording
        Uncalibrated: SI units by the sensor's declaration, or counts.
    turn_deg : float
        Angle of each turn [deg]. In a declared unit also several such turns in one go are recognised;
        in counts each must be one.
    times_s : sequence of (from, to)
        Times of the turns on the recording's clock [s]; found where empty.
    settings : TurnSettings, optional

    Raises
    ------
    SignalQualityError
        If the recording has no rest, or the gyroscope is at the end of its range in a turn.
    SettingsError
        If a given time lies outside the recording.
    """
    settings = settings or TurnSettings()
    rests, gravity = _rests(recording, settings)
    level, level_sd = rest_level(rests.angular_velocity, rests.spans)
    if times_s:
        spans = spans_at(recording, times_s, settings.rest)
        biases, whole = np.tile(level, (len(spans), 1)), np.ones(len(spans), dtype=bool)
    else:
        spans, whole = _movements(recording, rests, gravity, turn_deg, settings)
        biases = (rests.angular_velocity[1:] + rests.angular_velocity[:-1]) / 2
    integral, straight = _integrals(recording, spans, biases)
    axis, along, about_one = single_axes(integral, settings)
    whole &= about_one & (straight >= settings.straight)
    turn_rad = np.radians(turn_deg)
    in_counts = np.bool_(recording.sensor.units.angular_velocity == "counts")
    if in_counts:
        known = _largest(along, axis, whole, turn_rad, settings)
    else:
        known = _counted(along, whole, turn_rad, settings)
    taken = known != 0
    # At the end of its range the gyroscope shows less than the turn: half of it is suspect enough.
    for begin, end in spans[taken | (whole & (np.abs(along) > turn_rad / 2) & ~in_counts)]:
        refuse_clipped(recording, int(begin), int(end))
    return KnownTurns(
        recording.start_s + spans[taken] / recording.rate_hz,
        axis[taken],
        integral[taken],
        known[taken],
        float(settings.stop_rad / turn_rad),
        level,
        level_sd,
        f"turns of {turn_deg:g} degrees against a stop",
    )


def _rests(recording: Recording, settings: TurnSettings) -> tuple[Poses, float]:
    """Return the rests in order of time, also neighbours in one position, and gravity in the recording's unit."""
    calm = calmness(recording, settings.rest)
    floor = calm_floor(recording, calm, settings.rest)
    spans = np.empty((0, 2), dtype=np.intp)
    gravity = STANDARD_GRAVITY_M_S2
    if len(floor):
        gravity = rough_gravity(recording, calm, floor, settings.rest)
        spans = still_spans(
            calm, settings.rest.multiples[0] * floor, gravity, recording.rate_hz, settings.rest
        )
    rests = poses_of(recording, spans, settings.rest)
    quiet = rests.shaking[:, 0] / gravity <= 0.05  # a hand that holds the sensor shakes it by 0.03
    rests = rests.only(quiet)
    if len(rests) < 2:
        message = (
            f"found {len(rests)} rests; wanted rest before and behind every turn; lay the sensor on a firm table, rest "
            "for 2 s, turn it about one axis of its housing against a stop, rest for 2 s"
        )
        raise SignalQualityError(message)
    return rests, gravity


def _movements(
    recording: Recording, rests: Poses, gravity: float, turn_deg: float, settings: TurnSettings
) -> tuple[Spans, NDArray[np.bool_]]:
    """Return the spans between neighbouring rests, and in which of them gravity came back to where it was."""
    inside = np.minimum(settings.inside_s * recording.rate_hz, np.diff(rests.spans)[:, 0] / 2).astype(np.intp)
    spans = np.column_stack((rests.spans[:-1, 1] - inside[:-1], rests.spans[1:, 0] + inside[1:]))
    moved = np.linalg.norm(np.diff(rests.acceleration, axis=0), axis=1)
    whole = (moved <= settings.same * gravity) | (turn_deg % 360 != 0)
    whole &= np.array([recording.measured[begin:end].all() for begin, end in spans], dtype=bool)
    return spans, whole & (spans[:, 1] - spans[:, 0] <= settings.longest_turn_s * recording.rate_hz)


def _integrals(recording: Recording, spans: Spans, biases: Floats) -> tuple[Floats, Floats]:
    """Integrals of the raw rate less its bias, shape (n, 3), and their length as a part of the path's."""
    integral, straight = np.zeros((len(spans), 3)), np.zeros(len(spans))
    for i, (begin, end) in enumerate(spans):
        rates = recording.angular_velocity_rad_s[begin:end] - biases[i]
        integral[i] = rates.sum(axis=0) / recording.rate_hz
        path = float(np.linalg.norm(rates, axis=1).sum()) / recording.rate_hz
        straight[i] = np.linalg.norm(integral[i]) / path if path > 0 else 0.0
    return integral, straight


def _counted(along: Floats, whole: NDArray[np.bool_], turn_rad: float, settings: TurnSettings) -> Floats:
    """Known angle of each turn in a declared unit, zero for those that are none."""
    number = np.maximum(np.rint(np.abs(along) / turn_rad), 1)
    near = np.abs(np.abs(along) / turn_rad - number) <= settings.within
    return np.where(whole & near, np.sign(along) * number * turn_rad, 0.0)


def _largest(
    along: Floats,
    axis: NDArray[np.intp],
    whole: NDArray[np.bool_],
    turn_rad: float,
    settings: TurnSettings,
) -> Floats:
    """Known angle of each turn in counts: about each axis the largest, and those as large."""
    known = np.zeros(len(along))
    for about in range(len(AXES)):
        mine = whole & (axis == about)
        if mine.any():
            size = np.abs(along)
            alike = mine & (size >= (1 - settings.within) * size[mine].max())
            known[alike] = np.sign(along[alike]) * turn_rad
    return known
