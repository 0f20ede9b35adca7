"""Step length, stride width and their deviations, on paper: two blades on two clocks."""

from dataclasses import replace

import numpy as np
import pytest

from imustride.kinematics import BladePath, Clock
from imustride.metrics.pushes import push_table
from imustride.registry import methods

# The right sensor's clock runs 40 s behind that of the left, by which the run counts.
BEHIND_S = 40.0
# Left stands to 3.0, lands 3.4 to 3.8 and 4.2; right stands to 2.9, lands 3.1 to 3.5, 3.9 to 4.3 [left clock, s].
LEFT = np.array([(np.nan, 3.0), (3.4, 3.8), (4.2, np.nan)])
RIGHT = np.array([(np.nan, 2.9), (3.1, 3.5), (3.9, 4.3)])
TIME_S = np.linspace(0.0, 20.0, 2001)


def path(along_m_s, across_m, root, since_s=0.0):
    """Blade that runs along the lane at constant speed and distance from its middle; its root grows along with time."""
    still = np.zeros_like(TIME_S)
    place = np.stack([along_m_s * (TIME_S + since_s), still + across_m], axis=1)
    return BladePath(
        TIME_S, place, np.tile([along_m_s, 0.0], (2001, 1)), np.zeros(4000), root, np.zeros((2001, 1)), 0.0
    )


@pytest.fixture
def measured(foot):
    def make(left_root, right_root):
        left = replace(foot("left", LEFT, pushes=2), path=path(5.0, 0.2, left_root))
        right = foot("right", RIGHT - BEHIND_S + 45.0, clock=Clock(offset_s=BEHIND_S - 45.0), pushes=3)
        # Time 0 of the right path is -5 on the left clock.
        right = replace(right, path=path(6.0, -0.1, right_root, since_s=BEHIND_S - 45.0))
        table = push_table("run-1", {"left": left, "right": right}, list(methods("metrics").values()))
        return table.set_index(["side", "push"])

    return make


def test_a_step_goes_from_this_blade_to_the_other_at_its_blade_on(measured):
    found = measured(np.zeros((2001, 2, 1)), np.zeros((2001, 2, 1)))
    # Left lands at 3.4: 5 x 3.4 = 17.0 m; right next at 3.9: 6 x 3.9 = 23.4 m. Right lands at 3.1: 18.6 m; left at 3.4:
    # 17.0 m, behind it: a step may be negative. Right 3.9: 23.4; left 4.2: 21.0.
    assert found.loc[("left", 2), "step_length_m"] == pytest.approx(6.4)
    assert found.loc[("right", 1), "step_length_m"] == pytest.approx(-1.6)
    assert found.loc[("right", 2), "step_length_m"] == pytest.approx(-2.4)
    assert np.isnan(found.loc[("left", 1), "step_length_m"])
    # Across: left at 0.2, right at -0.1.
    assert found.loc[("left", 2), "stride_width_m"] == pytest.approx(0.3)
    assert np.isnan(found.loc[("right", 2), "stride_width_m"])


def test_an_error_that_both_feet_share_leaves_the_step_alone(measured):
    shared = np.full((2001, 2, 1), 0.5)
    found = measured(shared, shared)
    assert found.loc[("left", 2), "step_length_m_sd"] == pytest.approx(0.0, abs=1e-12)
    # A width is mostly assumed: 0.2 m at least.
    assert found.loc[("left", 2), "stride_width_m_sd"] == pytest.approx(0.2)
    # What belongs to one foot alone adds up: 3 cm and 4 cm make 5.
    apart = np.tile([[0.03, 0.0]], (2001, 2, 1)), np.tile([[0.0, 0.04]], (2001, 2, 1))
    found = measured(*apart)
    assert found.loc[("left", 2), "step_length_m_sd"] == pytest.approx(0.05)
    assert found.loc[("left", 2), "stride_width_m_sd"] == pytest.approx(np.hypot(0.05, 0.2))


def test_the_speed_is_as_uncertain_as_the_way_over_the_contact(measured):
    # The scale is known to 1.5 %. An error that grows by 0.1 m a second along the lane: 0.04 m over the contact of 0.4 s. Across it does not count.
    growing = np.stack([0.1 * TIME_S, 0.7 * TIME_S], axis=1)[:, :, None]
    found = measured(growing, np.zeros((2001, 2, 1)))
    assert found.loc[("left", 2), "blade_speed_m_s"] == pytest.approx(5.0)
    assert found.loc[("left", 2), "blade_speed_m_s_sd"] == pytest.approx(np.hypot(0.1, 0.015 * 5.0))
    assert found.loc[("right", 1), "blade_speed_m_s_sd"] == pytest.approx(0.015 * 6.0)


def test_feet_without_paths_in_common_have_no_step(foot):
    left = replace(foot("left", LEFT, pushes=2), path=path(5.0, 0.2, np.zeros((2001, 2, 1))))
    right = foot("right", RIGHT, pushes=3)
    found = push_table("run-1", {"left": left, "right": right}, list(methods("metrics").values()))
    names = ["step_length_m", "step_length_m_sd", "stride_width_m", "stride_width_m_sd"]
    assert found[names].isna().all(axis=None)
