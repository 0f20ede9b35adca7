"""A leg of two rigid segments against closed forms."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imustride.simulation.limbs import leg, span_ratio
from imustride.simulation.rotations import flexion, own_rate, pitch, turn, yaw, yaw_pitch_roll

AHEAD = np.array([[1.0, 0.0, 0.0]])


def test_a_leg_of_three_four_and_five():
    """Thigh 0.3 m, shank 0.4 m, hip 0.5 m above the ankle: a right angle at the knee."""
    bent = leg(np.array([[0, 0, 0.5]]), np.zeros((1, 3)), (0.3, 0.4), AHEAD)
    np.testing.assert_allclose(bent.knee_m, [[0.24, 0.0, 0.32]], atol=1e-12)
    assert np.degrees(pitch(bent.shank)) == pytest.approx(36.8699)
    assert np.degrees(pitch(bent.thigh)) == pytest.approx(-53.1301)
    assert np.degrees(flexion(bent.thigh, bent.shank)) == pytest.approx(90.0)
    np.testing.assert_allclose(bent.shank[0, :, 1], [0, 1, 0], atol=1e-12)


def test_the_knee_points_where_it_is_told_and_both_segments_share_its_axis():
    left = np.array([[0.0, 1.0, 0.0]])
    bent = leg(np.array([[0, 0, 0.5]]), np.zeros((1, 3)), (0.3, 0.4), left)
    np.testing.assert_allclose(bent.knee_m, [[0.0, 0.24, 0.32]], atol=1e-12)
    for segment in (bent.shank, bent.thigh):
        np.testing.assert_allclose(segment[0, :, 1], [-1, 0, 0], atol=1e-12)
        assert np.degrees(yaw(segment)) == pytest.approx(90.0)


def test_a_leg_leaning_to_the_side_bends_in_its_own_plane():
    """The right triangle again, the hip 30 degrees to the right of the ankle: everything turned about x."""
    turned = Rotation.from_euler("x", 30, degrees=True)
    bent = leg(turned.apply([[0, 0, 0.5]]), np.zeros((1, 3)), (0.3, 0.4), AHEAD)
    np.testing.assert_allclose(bent.knee_m, turned.apply([[0.24, 0.0, 0.32]]), atol=1e-12)
    assert np.degrees(flexion(bent.thigh, bent.shank)) == pytest.approx(90.0)


@pytest.mark.parametrize("bend_deg", [0.0, 10.0, 90.0, 130.0])
def test_span_of_a_bent_leg_is_the_law_of_cosines(bend_deg):
    knee = np.array([0.0, 0.45])
    ankle = knee + 0.4 * np.array([-np.sin(np.radians(bend_deg)), np.cos(np.radians(bend_deg))])
    expected = np.linalg.norm(ankle) / 0.85
    assert span_ratio(np.radians(bend_deg), (0.45, 0.4)) == pytest.approx(expected, rel=1e-12)


def test_attitudes_and_flexion_agree_with_another_implementation():
    """Grood and Suntay's order is an intrinsic y-x-z sequence (scipy); yaw, pitch and roll are z-y-x."""
    rng = np.random.default_rng(3)
    first, second = (Rotation.from_quat(rng.normal(size=(50, 4))) for _ in range(2))
    found = flexion(first.as_matrix(), second.as_matrix())
    np.testing.assert_allclose(found, (first.inv() * second).as_euler("YXZ")[:, 0], atol=1e-9)
    angles = rng.uniform(-1.5, 1.5, (50, 3))
    np.testing.assert_allclose(
        yaw_pitch_roll(angles), Rotation.from_euler("ZYX", angles).as_matrix(), atol=1e-12
    )
    np.testing.assert_allclose(pitch(yaw_pitch_roll(angles)), angles[:, 1], atol=1e-9)
    for axis, name in enumerate("xyz"):
        np.testing.assert_allclose(turn(axis, 0.7)[0], Rotation.from_euler(name, 0.7).as_matrix(), atol=1e-12)


def test_angular_velocity_is_in_segment_axes():
    """A segment lying on its side, turning about the vertical at 2 rad/s: its own y axis is up."""
    time_s = np.arange(400) / 4000
    lying = turn(2, 2 * time_s) @ turn(0, np.pi / 2)
    np.testing.assert_allclose(own_rate(lying)[1:-1], np.tile([0, 2, 0], (398, 1)), atol=1e-6)
