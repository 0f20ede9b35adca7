"""What a session was, beside its tables: who (a code), when, on what, worn how; what makes two sessions comparable."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.session_checks import split_group

if TYPE_CHECKING:
    from imustride.results import SessionResult
    from imustride.session import Sensor

WORN = (
    "place",
    "device",
    "mount",
    "axes",
    "position_m",
    "rocker_radius_m",
    "bandwidth_hz",
    "acceleration_range_g",
    "angular_velocity_range_deg_s",
)


def session_facts(result: SessionResult) -> dict[str, Any]:
    """Return what the session declares, as plain data for JSON.

    Parameters
    ----------
    result : SessionResult

    Returns
    -------
    dict
        ``rate_hz`` of a sensor is what was measured, to 0.1 Hz: the median of its runs; None where none was read.
    """
    session = result.session
    return {
        "athlete": session.athlete,
        "birth_year": session.birth_year,
        "date": session.date.isoformat(),
        "name": session.folder.resolve().name,
        "surface": session.surface,
        "protocol": session.protocol,
        "consent": session.consent,
        "conditions": session.conditions,
        "sensors": [_worn(sensor, _rate_hz(result, sensor.place)) for sensor in session.sensors],
        "runs": {
            run.name: {
                "logs": sorted({split_group(file)[0] for file in run.files.values()}),
                "gates": run.gates,
            }
            for run in session.runs
        },
    }


def _worn(sensor: Sensor, rate_hz: float | None) -> dict[str, Any]:
    told = sensor.model_dump(include=set(WORN))
    return {
        **{name: told[name] for name in WORN},
        "rate_hz": rate_hz,
        "calibrated": sensor.calibration is not None,
    }


def _rate_hz(result: SessionResult, place: str) -> float | None:
    side = place.removesuffix("_skate")
    rates = [run.kinematics[side].rate_hz for run in result.runs if side in run.kinematics]
    return round(float(np.median(rates)), 1) if rates else None
