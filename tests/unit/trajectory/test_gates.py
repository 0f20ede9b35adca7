"""Gates against the path that the sensors alone give, worked out by hand."""

import numpy as np
import pytest

from imustride.kinematics import BodyPath, Gates
from imustride.trajectory.gates import contradiction_m, gate_spread
from imustride.trajectory.settings import TrackSettings

SETTINGS = TrackSettings()


def going_evenly(until_s=6.0, speed_m_s=6.0, sd_m=0.3):
    """A body that goes at 6 m/s from time 0, its place known to 0.3 m."""
    time = np.arange(0.0, until_s + 1e-9, 0.02)
    one = np.ones(len(time))
    return BodyPath(
        time, speed_m_s * time, speed_m_s * one, 0.1 * one, sd_m * one[:, None], 0.1 * one[:, None],
        np.zeros(0), np.zeros(0), np.zeros(0),
    )  # fmt: skip


def gates(last_s):
    """30.48 m at 6 m/s take 5.08 s."""
    return Gates(np.array([0.0, 30.48]), np.array([0.0, last_s]), start_behind_m=0.5)


def test_gates_on_the_path_contradict_nothing():
    assert contradiction_m(going_evenly(), gates(5.08), SETTINGS) == 0.0


# The first gate is known to hypot(0.10, 0.05, 0.07) = 0.132 m; with 0.3 m of the path 0.33 m, four times that 1.31 m or 0.22 s.
@pytest.mark.parametrize("late_s", [-0.19, 0.19])
def test_a_gate_within_four_standard_deviations_may_be_right(late_s):
    assert contradiction_m(going_evenly(), gates(5.08 + late_s), SETTINGS) == 0.0


@pytest.mark.parametrize("late_s", [-0.26, 0.26])
def test_a_gate_beyond_four_standard_deviations_is_wrong_by_its_way(late_s):
    # Where the path is first beyond the first gate lies within a node of 0.02 s: 0.12 m.
    assert contradiction_m(going_evenly(), gates(5.08 + late_s), SETTINGS) == pytest.approx(
        6 * late_s, abs=0.13
    )


def test_a_gate_behind_the_end_of_the_track_may_yet_be_reached():
    assert contradiction_m(going_evenly(until_s=4.0), gates(5.08), SETTINGS) == 0.0


def test_a_gate_that_was_passed_long_before_its_time_is_wrong_even_behind_the_end():
    # At the end, 6 s, the body is at 36 m, and the gate was 30.48 + 0.5 - 0.25 = 30.73 m on.
    assert contradiction_m(going_evenly(), gates(9.9), SETTINGS) == pytest.approx(5.27, abs=0.01)


@pytest.mark.parametrize(("behind_m", "sd_m"), [(0.5, 0.05), (None, 0.40)])
def test_where_nobody_measured_the_start_line_the_lead_is_loose(behind_m, sd_m):
    found = gate_spread(Gates(np.array([0.0, 30.48]), np.array([0.0, 5.0]), behind_m), SETTINGS)
    assert found[1] == pytest.approx(np.hypot(0.10, sd_m))
