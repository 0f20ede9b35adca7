"""One sensor and one recording as the checks see them, made by hand."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from imustride.checking.limits import CheckLimits
from imustride.checking.view import CalibrationFacts, RecordingView, SensorView
from imustride.kinematics import Cut, SharedShocks
from imustride.recording import Recording, Rest, SamplingQuality
from imustride.session import Sensor

RATE_HZ, SAMPLES, GRAVITY = 500.0, 10_000, 9.81
AXES = ("+x", "+y", "+z")
SENSOR = Sensor(
    place="left_skate",
    device="S041",
    axes=AXES,
    acceleration_range_g=16,
    angular_velocity_range_deg_s=2000,
)
REST = Rest(4.0, GRAVITY, "+z", 3.0, 0.02, np.radians(0.05), (0.01, 0.0, 0.0))
CUT = Cut((3.0, 7.0), (7.1, 14.0), (14.5, 18.0))


def still(seed=0):
    """Give a recording of a sensor that stands still and is as noisy as a good one."""
    rng = np.random.default_rng(seed)
    return Recording(
        sensor=SENSOR,
        start_s=0.0,
        rate_hz=RATE_HZ,
        acceleration_m_s2=rng.normal([0, 0, GRAVITY], 0.03, (SAMPLES, 3)),
        angular_velocity_rad_s=rng.normal(0, np.radians(0.08), (SAMPLES, 3)),
        measured=np.ones(SAMPLES, dtype=bool),
        clipped=np.zeros((SAMPLES, 2), dtype=bool),
        quality=SamplingQuality(stamps=SAMPLES, jitter_sd_s=2e-5),
    )


@pytest.fixture
def limits():
    return CheckLimits()


@pytest.fixture
def sensor():
    """Give a sensor with which all is well."""
    return SensorView(
        recording=still(),
        gravity_m_s2=GRAVITY,
        day=dt.date(2026, 10, 3),
        calibration=CalibrationFacts(declared=True, date=dt.date(2026, 9, 20)),
        rest=REST,
        bandwidth_hz=180.0,
        unit_faults={},
        cut=CUT,
        cut_problem="",
        blows_s=np.array([]),
        turned_deg=(1.0, -3.0),
        axes_off_deg=8.0,
        gravity_turned_deg=(1.5, 70.0),
        digest="one",
    )


@pytest.fixture
def recording(sensor):
    """Give a run of two sensors with which all is well."""
    right = replace(sensor, recording=still(1), digest="other")
    shared = SharedShocks(np.array([1.0, 2.0, 19.0]), np.empty((0, 3)), 2, 1, -3.2, 0.0008, 40e-6, 30e-6)
    return RecordingView(
        "run-1",
        "run",
        {"left_skate": sensor, "right_skate": right},
        {},
        shared,
        ends_s={"left_skate": 20.0, "right_skate": 20.3},
        sides="as declared",
    )
