"""Every truth column on a motion small enough to work out on paper."""

import numpy as np
import pytest

from imustride.simulation.attitude import Attitude
from imustride.simulation.blade import Path
from imustride.simulation.body import Body
from imustride.simulation.drawing import draw
from imustride.simulation.motion import Foot, Motion
from imustride.simulation.steps import Step
from imustride.simulation.timing import Contact, Plan
from imustride.simulation.truth import truth_table

GRID_HZ = 4000
SAMPLES = 6 * GRID_HZ
TIME_S = np.arange(SAMPLES) / GRID_HZ
# Left lifts first at 1.0, right pushes until 1.4, left glides 1.3 to 1.9, right 1.8 to 2.6; then both glide.
CONTACTS = {
    "left": (
        Contact("left", "standing", 0, 0.0, 1.0),
        Contact("left", "push", 2, 1.3, 1.9),
        Contact("left", "glide", -1, 2.5, 6.0),
    ),
    "right": (
        Contact("right", "standing", 1, 0.0, 1.4),
        Contact("right", "push", 3, 1.8, 2.6),
        Contact("right", "glide", -1, 3.0, 6.0),
    ),
}
PLAN = Plan(CONTACTS, (), (0.1, 0.8), 0.9, 2.6, (4.0, 5.0), 6.0, -1)


def step(contact):
    return Step(
        contact, np.zeros(2), 0.0, 0.0, 0.0, (0.0, 0.0), (0.0, 0.0), (0.0, 0.1), 0.0, (0.0, 0.1), (0.0, 0.0), (0.0, 0.1),
        0.1, 0.01, (0.0, 0.0), 0.0, 0.0, 0.1, (3.0, 3.0), 0.0, 0.0, pivots=contact.order == 1,
    )  # fmt: skip


def foot(side, roll, pitch, velocity, yaw):
    """A foot that moves at one velocity from 1.0 s on; the angles are given over time."""
    sign = 1 if side == "left" else -1
    moved = np.clip(TIME_S - 1.0, 0, None)
    place = np.column_stack([moved * velocity[0], sign * (0.15 + moved * velocity[1]), np.zeros(SAMPLES)])
    speed = np.where(TIME_S > 1.0, np.hypot(*velocity), 0.0)
    path = Path(place, np.zeros(SAMPLES), speed, np.zeros(SAMPLES), np.ones(SAMPLES, bool))
    attitude = Attitude(sign * yaw, pitch, sign * roll, np.ones(SAMPLES))
    return Foot(tuple(step(contact) for contact in CONTACTS[side]), attitude, path)


@pytest.fixture(scope="module")
def table():
    # Both blades lean 2 degrees inward in the stance and 32 at most; the track runs 10 degrees outward.
    roll = np.radians(2.0 + 30.0 * np.clip((TIME_S - 0.9) / 0.4, 0, 1))
    pitch = np.zeros(SAMPLES)
    yaw = np.full(SAMPLES, np.radians(10.0))
    velocity = (5.0 * np.cos(np.radians(10)), 5.0 * np.sin(np.radians(10)))
    feet = {side: foot(side, roll, pitch, velocity, yaw) for side in ("left", "right")}
    flat = np.zeros(SAMPLES)
    motion = Motion(PLAN, Body(flat, flat, flat, np.zeros((SAMPLES, 2))), feet)
    clocks = {"left_clock_offset_s": 10.0, "left_clock_drift_ppm": 0.0}
    clocks |= {"right_clock_offset_s": -3.0, "right_clock_drift_ppm": 0.0}
    drawn = draw(1, "good", 0, clocks)
    return truth_table(drawn, motion, {"left": ((11.95, 11.96),), "right": ()}, "run-1")


def row(table, side, push):
    return table[(table["side"] == side) & (table["push"] == push)].iloc[0]


def test_rows_are_the_pushes_by_blade_off(table):
    assert list(table["side"]) == ["left", "right", "left", "right"]
    assert list(table["push"]) == [0, 1, 1, 2]
    assert list(table["first_lift"]) == [True, False, False, False]
    assert list(table["standing"]) == [True, True, False, False]
    assert set(table["run"]) == {"run-1"}


def test_times_are_on_the_left_clock_and_on_the_own(table):
    right = row(table, "right", 2)
    assert right["blade_on_s"] == pytest.approx(11.8)
    assert right["blade_off_s"] == pytest.approx(12.6)
    assert right["blade_on_own_s"] == pytest.approx(-1.2)
    assert right["blade_off_own_s"] == pytest.approx(-0.4)
    assert right["contact_time_s"] == pytest.approx(0.8)
    assert right["stride_time_s"] == pytest.approx(1.2)
    assert row(table, "left", 1)["stride_time_s"] == pytest.approx(1.2)


def test_standing_pushes_have_no_begin(table):
    for column in ("blade_on_s", "contact_time_s", "stride_time_s", "stride_length_m", "lateral_travel_m"):
        assert np.isnan(row(table, "left", 0)[column])
        assert np.isnan(row(table, "right", 1)[column])


def test_edge_is_the_greatest_in_the_contact_and_counts_from_the_stance(table):
    assert row(table, "left", 1)["edge_angle_deg"] == pytest.approx(30.0, abs=0.01)
    assert row(table, "right", 2)["edge_angle_deg"] == pytest.approx(30.0, abs=0.01)
    assert row(table, "left", 0)["edge_angle_deg"] == pytest.approx(7.5, abs=0.02)  # a quarter of the lean


def test_track_is_outward_from_the_lane_and_empty_where_the_blade_pivots(table):
    assert row(table, "left", 1)["track_angle_deg"] == pytest.approx(10.0, abs=0.01)
    assert row(table, "right", 2)["track_angle_deg"] == pytest.approx(10.0, abs=0.01)
    assert np.isnan(row(table, "right", 1)["track_angle_deg"])
    assert np.isnan(row(table, "left", 0)["track_angle_deg"])


def test_lengths_and_speeds(table):
    left = row(table, "left", 1)
    along, aside = 5 * np.cos(np.radians(10)), 5 * np.sin(np.radians(10))
    assert left["blade_speed_m_s"] == pytest.approx(5.0)
    assert left["stride_length_m"] == pytest.approx(along * 1.2)
    assert left["step_length_m"] == pytest.approx(along * 0.5)
    assert left["lateral_travel_m"] == pytest.approx(aside * 0.6)
    # Left at 1.9 s: 0.15 + 0.9 aside; right at 2.6 s: -(0.15 + 1.6 aside).
    assert left["stride_width_m"] == pytest.approx(0.3 + 2.5 * aside)
    assert np.isnan(row(table, "right", 2)["stride_width_m"])


def test_a_gap_touches_the_contact_it_falls_on_and_no_other(table):
    assert list(table["near_gap"]) == [False, False, True, False]


def test_push_off_rate_is_about_the_levelled_axis_within_its_window():
    """A heel rising at 8 rad/s, leaning 2 degrees from the stance on, seen whole by the levelled axis.

    The rate about the blade's own axis would be 8 cos(2 degrees) = 7.995 rad/s.
    """
    roll = np.full(SAMPLES, np.radians(2.0))
    pulse = np.where(np.abs(TIME_S - 1.85) < 0.03, 8.0, 0.0)
    pulse[TIME_S > 2.1] = 20.0  # outside every window of the left foot
    pulse[TIME_S > 2.12] = 0.0
    pitch = np.cumsum(pulse) / GRID_HZ
    feet = {side: foot(side, roll, pitch, (4.0, 1.0), np.zeros(SAMPLES)) for side in ("left", "right")}
    flat = np.zeros(SAMPLES)
    motion = Motion(PLAN, Body(flat, flat, flat, np.zeros((SAMPLES, 2))), feet)
    table = truth_table(draw(1, "good"), motion, {"left": (), "right": ()}, "run-1")
    left = row(table, "left", 1)["push_off_angular_velocity_deg_s"]
    assert left == pytest.approx(np.degrees(8.0), rel=1e-6)
