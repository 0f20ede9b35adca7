"""What must not change, or change in a known way, whatever the run: one simulated run, seen differently."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from imustride.pipeline import analyse_logs
from imustride.simulation import simulate_run

FEW = settings(max_examples=5, deadline=None, derandomize=True)
TIMES = ["blade_on_s", "blade_off_s"]
DURATIONS = ["contact_time_s", "swing_time_s", "stride_time_s", "step_time_s", "double_support_s"]
RATE = "push_off_angular_velocity_deg_s"
AS_IT_IS, MIRROR = np.eye(3), np.diag([1.0, -1.0, 1.0])
rotations = (
    st.tuples(*[st.floats(-1, 1)] * 4).filter(lambda q: np.linalg.norm(q) > 0.1).map(Rotation.from_quat)
)


@pytest.fixture(scope="module")
def logs():
    run = simulate_run(
        21, "good", rate_hz=250.0, axes_declared=False, position_declared=False, log_begins_late=False,
        log_ends_early=False,
    )  # fmt: skip
    return run.logs


@pytest.fixture(scope="module")
def plain(logs):
    found = analyse_logs("run-1", logs)
    assert found.usable, found.reason
    assert len(found.pushes) >= 8
    return found.pushes


def changed(log, sensor_change=AS_IT_IS, gyro_sign=1.0, shift_s=0.0, place=None):
    """Return a log seen in other sensor axes, on a shifted clock, worn on another foot."""
    return replace(
        log,
        sensor=log.sensor.model_copy(update={"place": place or log.sensor.place}),
        time_s=log.time_s + shift_s,
        acceleration_m_s2=log.acceleration_m_s2 @ sensor_change.T,
        angular_velocity_rad_s=gyro_sign * log.angular_velocity_rad_s @ sensor_change.T,
    )


def same_pushes(found, expected):
    assert found["side"].tolist() == expected["side"].tolist()
    assert found["push"].tolist() == expected["push"].tolist()


@FEW
@given(left=rotations, right=rotations)
@example(left=Rotation.from_euler("x", 180, degrees=True), right=Rotation.from_euler("z", 180, degrees=True))
def test_turning_a_sensor_in_its_mount_changes_nothing(logs, plain, left, right):
    turned = {
        place: changed(logs[place], turn.as_matrix())
        for place, turn in (("left_skate", left), ("right_skate", right))
    }
    found = analyse_logs("run-1", turned).pushes
    same_pushes(found, plain)
    np.testing.assert_allclose(found[TIMES], plain[TIMES], rtol=0, atol=0.002)
    np.testing.assert_allclose(found[RATE], plain[RATE], rtol=0.015)
    np.testing.assert_allclose(found["edge_angle_deg"], plain["edge_angle_deg"], rtol=0, atol=0.3)


@FEW
@given(shift_s=st.floats(-5e4, 5e4))
def test_a_shifted_clock_shifts_the_times(logs, plain, shift_s):
    found = analyse_logs(
        "run-1", {place: changed(log, shift_s=shift_s) for place, log in logs.items()}
    ).pushes
    same_pushes(found, plain)
    np.testing.assert_allclose(found[TIMES], plain[TIMES] + shift_s, rtol=0, atol=1e-4)
    np.testing.assert_allclose(found[DURATIONS], plain[DURATIONS], rtol=0, atol=1e-4)
    np.testing.assert_allclose(found[[RATE, "edge_angle_deg"]], plain[[RATE, "edge_angle_deg"]], rtol=1e-4)


@FEW
@given(shift_s=st.floats(-300, 300))
def test_a_shift_of_the_other_clock_is_taken_out(logs, plain, shift_s):
    moved = {**logs, "right_skate": changed(logs["right_skate"], shift_s=shift_s)}
    found = analyse_logs("run-1", moved).pushes
    same_pushes(found, plain)
    np.testing.assert_allclose(found[TIMES], plain[TIMES], rtol=0, atol=1e-3)
    np.testing.assert_allclose(found[DURATIONS], plain[DURATIONS], rtol=0, atol=1e-3)


@pytest.fixture(scope="module")
def placed(logs):
    """The logs with the place of each sensor on its skate declared."""
    places_m = {"left_skate": (0.01, 0.03, 0.10), "right_skate": (-0.01, -0.02, 0.09)}
    return {
        place: replace(log, sensor=log.sensor.model_copy(update={"position_m": places_m[place]}))
        for place, log in logs.items()
    }


def in_a_mirror(log, place):
    """Return the log of the other foot: vectors turn over, turning (an axial vector) the other way."""
    seen = changed(log, MIRROR, -1.0, place=place)
    x, y, z = log.sensor.position_m
    return replace(seen, sensor=seen.sensor.model_copy(update={"position_m": (x, -y, z)}))


def test_a_mirrored_run_has_left_and_right_exchanged(placed):
    mirrored = {
        "right_skate": in_a_mirror(placed["left_skate"], "right_skate"),
        "left_skate": in_a_mirror(placed["right_skate"], "left_skate"),
    }
    plain, found = (analyse_logs("run-1", logs).pushes for logs in (placed, mirrored))
    expected = plain.assign(side=plain["side"].map({"left": "right", "right": "left"}))
    same_pushes(found, expected)
    columns = [*TIMES, *DURATIONS, RATE, "edge_angle_deg"]
    np.testing.assert_allclose(found[columns], expected[columns], rtol=0, atol=1e-6)


def test_exchanged_files_exchange_the_rows_and_turn_the_edges_over(logs, plain):
    exchanged = {
        place: changed(logs[other], place=place)
        for place, other in (("right_skate", "left_skate"), ("left_skate", "right_skate"))
    }
    found = analyse_logs("run-1", exchanged).pushes
    expected = plain.assign(side=plain["side"].map({"left": "right", "right": "left"}))
    same_pushes(found, expected)
    np.testing.assert_allclose(found[TIMES], expected[TIMES], rtol=0, atol=1e-3)
    np.testing.assert_allclose(found[RATE], expected[RATE], rtol=2e-3)
    assert (found["edge_angle_deg"] < expected["edge_angle_deg"]).all()
    assert found["flags"].str.contains("sides_swapped").all()


@pytest.mark.parametrize("lost_s", [0.3, 1.2])
def test_what_was_logged_after_the_stop_hardly_matters(logs, plain, lost_s):
    cut = {}
    for place, log in logs.items():
        kept = log.time_s < log.time_s[-1] - lost_s
        cut[place] = replace(
            log,
            time_s=log.time_s[kept],
            acceleration_m_s2=log.acceleration_m_s2[kept],
            angular_velocity_rad_s=log.angular_velocity_rad_s[kept],
        )
    found = analyse_logs("run-1", cut).pushes
    same_pushes(found, plain)
    # A shock may be lost with it and the level is less well known: within two spreads that events have anyway.
    np.testing.assert_allclose(found["blade_on_s"], plain["blade_on_s"], rtol=0, atol=0.008)
    np.testing.assert_allclose(found["blade_off_s"], plain["blade_off_s"], rtol=0, atol=0.012)
    np.testing.assert_allclose(found[RATE], plain[RATE], rtol=0.005)


def test_a_mirrored_run_has_left_and_right_exchanged_wherever_the_sensors_sit(logs, plain):
    # Seen in a mirror a left skate is a right one: vectors turn over, turning (an axial vector) the other way.
    mirrored = {
        place: changed(logs[other], MIRROR, -1.0, place=place)
        for place, other in (("right_skate", "left_skate"), ("left_skate", "right_skate"))
    }
    found = analyse_logs("run-1", mirrored).pushes
    expected = plain.assign(side=plain["side"].map({"left": "right", "right": "left"}))
    same_pushes(found, expected)
    np.testing.assert_allclose(found[TIMES], expected[TIMES], rtol=0, atol=1e-3)
    np.testing.assert_allclose(found[DURATIONS], expected[DURATIONS], rtol=0, atol=1e-3)
    np.testing.assert_allclose(found[RATE], expected[RATE], rtol=2e-3)
    np.testing.assert_allclose(found["edge_angle_deg"], expected["edge_angle_deg"], rtol=0, atol=0.1)
