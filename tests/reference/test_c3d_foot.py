"""A C3D file of another program: a sensor on a foot, no points, and a unit text that is wrong.

Figures read with ezc3d alone: README of the open data "c3d_foot" (scikit-kinematics 0.10.4, BSD-3-Clause).
"""

import numpy as np
import pytest

from imustride.loaders import load_file, regularise
from imustride.loaders.c3d import names_in
from imustride.session import Columns, Sensor, Units


@pytest.fixture(scope="module")
def foot(open_data):
    return open_data("c3d_foot") / "foot_1200hz_no_points.c3d"


def test_a_file_without_points_and_with_wrong_units(foot):
    triads = [tuple(f"{name}.{axis}" for axis in "xyz") for name in ("accel", "gyro")]
    sensor = Sensor(
        place="trunk",  # nobody knows the place of a foot; nothing here depends on it
        columns=Columns(acceleration=triads[0], angular_velocity=triads[1]),
        units=Units(acceleration="m/s^2", angular_velocity="rad/s"),
        rate_hz=1200.0,
    )
    log = load_file(foot, None, sensor)
    assert len(log.time_s) == 16248
    assert log.time_s[-1] == pytest.approx(16247 / 1200)
    size = np.linalg.norm(log.acceleration_m_s2, axis=1)
    assert size[:360].mean() == pytest.approx(10.05, abs=0.005)
    assert size.max() == pytest.approx(140.7, abs=0.05)
    assert np.linalg.norm(log.angular_velocity_rad_s, axis=1).max() == pytest.approx(10.0, abs=0.05)
    assert log.notes == (
        "the file says 'mm/s²' of acceleration, which such files often get wrong; declared is m/s^2",
    )
    assert regularise(log).rate_hz == pytest.approx(1200)


def test_its_channels(foot):
    labels = names_in(foot)
    assert len(labels) == 15
    assert labels[6:9] == ["accel.x", "accel.y", "accel.z"]
