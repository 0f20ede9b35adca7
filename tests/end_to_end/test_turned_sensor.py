"""A sensor that turns on its holder in mid-run: gravity does not show it, the ice does."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imustride import pipeline
from imustride.simulation import simulate_run


@pytest.fixture(scope="module")
def run():
    return simulate_run(7002, position_declared=True, skid_m_s=0.0)


def turned(run, angle_deg):
    """The logs with the left sensor turned about the vertical of its stance from the middle of the run on."""
    log = run.logs["left_skate"]
    off_s = run.truth.loc[run.truth["side"] == "left", "blade_off_own_s"]
    standing = (log.time_s > off_s.min() - 3.0) & (log.time_s < off_s.min() - 1.5)
    up = log.acceleration_m_s2[standing].mean(axis=0)
    turn = Rotation.from_rotvec(np.radians(angle_deg) * up / np.linalg.norm(up)).as_matrix()
    behind = np.where((log.time_s > off_s.median())[:, None, None], turn, np.eye(3))
    signals = (
        np.einsum("nij,nj->ni", behind, signal)
        for signal in (log.acceleration_m_s2, log.angular_velocity_rad_s)
    )
    return run.logs | {
        "left_skate": replace(
            log, **dict(zip(("acceleration_m_s2", "angular_velocity_rad_s"), signals, strict=True))
        )
    }


def test_a_sensor_that_stays_has_a_path(run):
    found = pipeline.analyse_logs("run-1", turned(run, 0.0))
    assert set(found.paths) == {"left", "right"}


def test_a_sensor_that_turned_by_25_degrees_has_none_and_every_push_says_so(run):
    found = pipeline.analyse_logs("run-1", turned(run, 25.0))
    assert not found.paths
    assert any("a sensor turned" in note for note in found.notes)
    assert found.pushes["flags"].str.contains("path_doubtful", regex=False).all()
    assert found.pushes[["track_angle_deg", "stride_length_m", "lateral_travel_m"]].isna().all(axis=None)
