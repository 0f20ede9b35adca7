"""The stages joined: load, cut, calibrate, synchronise, orient, align, segment, measure, compare, report."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from imustride.alignment.blade import align
from imustride.cutting.stance import cut
from imustride.kinematics import Kinematics
from imustride.loaders.sampling import regularise
from imustride.metrics.pushes import Foot, push_table
from imustride.orientation.stance import Rest
from imustride.registry import methods
from imustride.results import RunResult
from imustride.segmentation.contact import find_contacts
from imustride.segmentation.pushing import end_of_pushing
from imustride.settings import Settings
from imustride.synchronisation.shocks import synchronise

if TYPE_CHECKING:
    from collections.abc import Mapping

    from imustride.kinematics import Cut
    from imustride.recording import Recording, SensorLog

# Ice shakes a gliding blade several times as much as a standing one (measured 8 times, simulated).
QUIET_RATIO = 1.5

__all__ = ["Settings", "analyse_logs", "analyse_recordings"]


def analyse_logs(name: str, logs: Mapping[str, SensorLog], settings: Settings | None = None) -> RunResult:
    """Analyse one run from logs in memory; see `analyse_recordings`."""
    return analyse_recordings(name, {place: undelayed(regularise(log)) for place, log in logs.items()}, settings)


def undelayed(recording: Recording) -> Recording:
    """Take the device's declared delay out of the clock.

    Where only a bandwidth is declared, its delay is that of an ordinary low pass: 0.159 / bandwidth for
    one pole, 0.225 / bandwidth for a second-order Butterworth; the middle is taken.
    """
    sensor = recording.sensor
    if sensor.delay_ms is not None:
        delay_s = 1e-3 * sensor.delay_ms
    elif sensor.bandwidth_hz is not None:
        delay_s = 0.19 / sensor.bandwidth_hz
    else:
        return recording
    return replace(recording, start_s=recording.start_s - delay_s)


def analyse_recordings(
    name: str, recordings: Mapping[str, Recording], settings: Settings | None = None
) -> RunResult:
    """Analyse one run.

    Parameters
    ----------
    name : str
        Name of the run.
    recordings : mapping of place to Recording
        The first skate's clock counts.
    settings : Settings, optional

    Returns
    -------
    RunResult
    """
    settings = settings or Settings()
    skates = {place: recording for place, recording in recordings.items() if place.endswith("_skate")}
    cuts = {place: cut(recording, settings.stance) for place, recording in skates.items()}
    clocks = synchronise(skates, cuts, next(iter(skates)), settings.shocks)
    kinematics = {place: move(recording, cuts[place], settings) for place, recording in skates.items()}
    sides = {place: place.split("_")[0] for place in skates}
    contacts = {sides[place]: find_contacts(kinematics[place], settings.contact) for place in skates}
    by_side = {sides[place]: clocks[place] for place in skates}
    counts = end_of_pushing(contacts, by_side, settings.pushing)
    feet = {
        sides[place]: Foot(kinematics[place], clocks[place], contacts[sides[place]], counts[sides[place]])
        for place in skates
    }
    pushes = push_table(name, feet, list(methods("metrics").values()))
    return RunResult(name, pushes, {sides[place]: kinematics[place] for place in skates}, by_side, usable=True)


def stop_slice(recording: Recording, cut_: Cut, stance: slice) -> slice | None:
    """Return the stance after the stop, if the sensor is as quiet there as before the start.

    A two-foot glide may turn as little, but the ice shakes it.
    """
    if cut_.stop_s is None:
        return None
    stop = slice(recording.index(cut_.stop_s[0]), recording.index(cut_.stop_s[1]))
    before, after = (
        float(np.linalg.norm(np.diff(recording.acceleration_m_s2[span], axis=0).std(axis=0)))
        for span in (stance, stop)
    )
    return stop if after < QUIET_RATIO * before else None


def move(recording: Recording, cut_: Cut, settings: Settings) -> Kinematics:
    """Orient and align one skate."""
    stance = slice(recording.index(cut_.stance_s[0]), recording.index(cut_.stance_s[1]))
    estimate = methods("orientation")[settings.orientation].estimate
    rest = Rest(stance, stop_slice(recording, cut_, stance), ~recording.measured)
    earth_from_sensor = estimate(
        recording.angular_velocity_rad_s, recording.acceleration_m_s2, recording.rate_hz, rest
    )
    alignment = align(recording, earth_from_sensor, cut_, settings.blade)
    turn = alignment.segment_from_sensor.T
    return Kinematics(
        side="left" if recording.place == "left_skate" else "right",
        start_s=recording.start_s,
        rate_hz=recording.rate_hz,
        acceleration_m_s2=recording.acceleration_m_s2 @ turn,
        angular_velocity_rad_s=recording.angular_velocity_rad_s @ turn,
        earth_from_segment=alignment.earth_from_segment,
        velocity_m_s=alignment.velocity_m_s,
        measured=recording.measured,
        clipped=recording.clipped,
        cut=cut_,
        position_m=recording.sensor.position_m,
        bandwidth_hz=recording.sensor.bandwidth_hz or np.inf,
        forward_sd_rad=alignment.forward_sd_rad,
        velocity_until_s=alignment.known_until_s,
    )
