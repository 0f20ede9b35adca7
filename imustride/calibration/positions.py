"""An accelerometer's parameters from static positions on a table."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from imustride.calibration.fitting import FACES, Fit, FitSettings, fit_positions, scaled
from imustride.calibration.norm_fit import sphere
from imustride.calibration.rest import (
    Calm,
    RestSettings,
    calmest,
    calmness,
    merged,
    poses_of,
    spans_at,
    still_spans,
)
from imustride.calibration.table import (
    Scale,
    TableSettings,
    on_a_firm_table,
    refuse_saturated,
    refuse_unit,
    resolution,
)
from imustride.errors import SignalQualityError

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from imustride.calibration.rest import Poses
    from imustride.recording import Recording

    Floats = NDArray[np.float64]

RECORD = (
    "hold the sensor still for 3 s with each of its axes up and down, and in some slanted positions between"
)


@dataclass(frozen=True, slots=True)
class PositionsSettings:
    """Settings of a calibration by positions."""

    rest: RestSettings = field(default_factory=RestSettings)
    table: TableSettings = field(default_factory=TableSettings)
    fit: FitSettings = field(default_factory=FitSettings)
    # More shaking is accepted only where it narrows the widest interval to this part.
    worth: float = 0.9


@dataclass(frozen=True, eq=False, slots=True)
class Positions:
    """Static positions of a recording and the accelerometer's parameters from them.

    Parameters
    ----------
    poses : Poses
        The positions that count.
    fit : Fit
    notes : tuple of str
        What was left out, and what the reader of the result must know.
    """

    poses: Poses
    fit: Fit
    notes: tuple[str, ...]


def find_positions(
    recording: Recording,
    gravity_m_s2: float,
    times_s: Sequence[tuple[float, float]] = (),
    settings: PositionsSettings | None = None,
) -> Positions:
    """Find the static positions of a recording and fit the accelerometer to them.

    Parameters
    ----------
    recording : Recording
        Uncalibrated: SI units by the sensor's declaration, or counts.
    gravity_m_s2 : float
        Local gravity [m/s^2].
    times_s : sequence of (from, to)
        The positions' times on the recording's clock [s], instants where both are equal; found where empty.
    settings : PositionsSettings, optional

    Raises
    ------
    SignalQualityError
        If the recording has too few positions, none at rest, an axis at the end of its range or another
        unit than declared; the message says what to record instead.
    SettingsError
        If a given time lies outside the recording.
    """
    settings = settings or PositionsSettings()
    refuse_saturated(recording, gravity_m_s2, settings.table)
    best: Positions | None = None
    refusals: list[tuple[int, str]] = []
    for poses in _candidates(recording, gravity_m_s2, times_s, settings):
        try:
            found = _fitted(recording, poses, gravity_m_s2, settings)
        except SignalQualityError as error:
            refusals.append((len(poses), str(error)))
            continue
        if isinstance(found, str):
            refusals.append((len(poses), f"{found}; {RECORD}"))
        elif best is None or found.fit.uncertainty < settings.worth * best.fit.uncertainty:
            best = found
    if best is not None:
        return best
    message = (
        max(refusals, key=lambda refusal: refusal[0])[1] if refusals else f"no position at rest; {RECORD}"
    )
    raise SignalQualityError(message)


def _candidates(
    recording: Recording,
    gravity_m_s2: float,
    times_s: Sequence[tuple[float, float]],
    settings: PositionsSettings,
) -> Iterator[Poses]:
    """Give the positions: those named, or those found with each limit of what counts as still."""
    calm = calmness(recording, settings.rest)
    floor = calm_floor(recording, calm, settings.rest)
    if not len(floor):
        return
    gravity = rough_gravity(recording, calm, floor, settings.rest)
    unit = recording.sensor.units.acceleration or "m/s^2"
    if unit != "counts":
        refuse_unit(gravity, gravity_m_s2, unit, settings.table)
    if times_s:
        yield poses_of(recording, spans_at(recording, times_s, settings.rest), settings.rest)
        return
    seen: set[bytes] = set()
    for multiple in settings.rest.multiples:
        spans = still_spans(calm, multiple * floor, gravity, recording.rate_hz, settings.rest)
        poses = poses_of(recording, spans, settings.rest)
        poses = poses_of(recording, merged(poses, gravity, settings.rest), settings.rest)
        key = poses.spans.tobytes()
        if len(poses) and key not in seen:
            seen.add(key)
            yield poses


def calm_floor(recording: Recording, calm: Calm, settings: RestSettings) -> Floats:
    """Return the shaking of the calmest part, at least a step of the resolution; empty where nothing was measured."""
    floor = calmest(calm, settings)
    if not len(floor):
        return floor
    steps = [
        resolution(values).max() for values in (recording.acceleration_m_s2, recording.angular_velocity_rad_s)
    ]
    # A made recording without noise has no shaking at all: rounding must not count as such.
    rounding = [
        1e-6 * float(np.abs(values).max())
        for values in (recording.acceleration_m_s2, recording.angular_velocity_rad_s)
    ]
    return np.maximum(np.maximum(floor, steps), rounding)


def rough_gravity(recording: Recording, calm: Calm, floor: Floats, settings: RestSettings) -> float:
    """Return the length of gravity in the recording's unit; in counts half the range of the calm parts."""
    still = calm.mean[np.all(calm.shaking <= settings.rough_multiple * floor, axis=1)]
    if recording.sensor.units.acceleration != "counts":
        return float(np.median(np.linalg.norm(still, axis=1)))
    return float(max(np.ptp(still, axis=0).max() / 2, 20 * floor[0]))


def _fast_rate(recording: Recording) -> float:
    """Return how fast the fastest movements are, in the recording's unit."""
    rates = recording.angular_velocity_rad_s
    return float(np.quantile(np.abs(rates - np.median(rates, axis=0)).max(axis=1), 0.99))


def _fitted(
    recording: Recording, poses: Poses, gravity_m_s2: float, settings: PositionsSettings
) -> Positions | str:
    units = recording.sensor.units
    from_counts = units.acceleration == "counts"
    centre, radius = np.zeros(3), gravity_m_s2
    if from_counts:
        ball = sphere(poses.acceleration)
        if ball is None:
            return f"found {len(poses)} position{'' if len(poses) == 1 else 's'}; wanted at least six"
        centre, radius = ball
    scale = Scale(
        radius,
        gravity_m_s2,
        _fast_rate(recording),
        units.acceleration or "m/s^2",
        units.angular_velocity or "rad/s",
    )
    kept, notes = on_a_firm_table(poses, scale, settings.table)
    poses = poses.only(kept)
    data = scaled(
        poses.acceleration,
        poses.acceleration_spread,
        centre,
        radius,
        gravity_m_s2,
        settings.fit,
        from_counts=from_counts,
    )
    fit = fit_positions(data, settings.fit)
    if isinstance(fit, str):
        return fit
    left_out = [
        f"the position at {from_s:.1f} s was left out: gravity is {residual:+.3f} m/s^2 off, against the others"
        for from_s, residual in zip(poses.time_s[~fit.used, 0], fit.residual_m_s2[~fit.used], strict=True)
        if fit.method != FACES
    ]
    return Positions(poses, fit, (*notes, *left_out, *fit.notes))
