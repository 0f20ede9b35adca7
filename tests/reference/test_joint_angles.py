"""Joint angles against the published definition and against scipy, on random attitudes."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from scipy.stats import circmean, circvar

from imustride.metrics.circular import mean_direction_deg, wrapped_deg
from imustride.metrics.joints import flexion_rad, pitch_rad, yaw_rad


def random_pair(n=200, seed=5):
    return (Rotation.random(n, random_state=seed + k).as_matrix() for k in range(2))


def test_flexion_is_the_first_angle_of_the_yxz_sequence_of_scipy():
    proximal, distal = random_pair()
    relative = np.swapaxes(proximal, 1, 2) @ distal
    expected = Rotation.from_matrix(relative).as_euler("YXZ")[:, 0]
    np.testing.assert_allclose(flexion_rad(proximal, distal), expected, atol=1e-9)


def test_flexion_is_the_angle_of_grood_and_suntay():
    """Grood and Suntay 1983: the angle between a proximal axis and the floating axis e2 = e3 x e1.

    e1 is the proximal sideways axis, e3 the distal long axis; flexion is the turn of the floating axis about e1 away
    from the proximal forward axis.
    """
    proximal, distal = random_pair(seed=9)
    e1, e3 = proximal[:, :, 1], distal[:, :, 2]
    e2 = np.cross(e1, e3)
    e2 /= np.linalg.norm(e2, axis=1, keepdims=True)
    forward, up = proximal[:, :, 0], proximal[:, :, 2]
    expected = np.arctan2(-(e2 * up).sum(axis=1), (e2 * forward).sum(axis=1))
    np.testing.assert_allclose(flexion_rad(proximal, distal), expected, atol=1e-9)


def test_the_frame_of_the_society_gives_the_same_flexion():
    """Wu et al. 2002: X forward, Y up, Z right; flexion turns about Z, negative where our y is positive."""
    ours_from_isb = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    proximal, distal = random_pair(seed=13)
    relative = ours_from_isb.T @ np.swapaxes(proximal, 1, 2) @ distal @ ours_from_isb
    about_z = Rotation.from_matrix(relative).as_euler("ZXY")[:, 0]
    np.testing.assert_allclose(flexion_rad(proximal, distal), -about_z, atol=1e-9)


@pytest.mark.parametrize("degrees", [-30.0, 0.0, 55.0])
def test_a_segment_tipped_forward_has_that_pitch_whatever_its_heading(degrees):
    """By hand: a turn about +y takes the top (z) forward; a turn about the vertical before it changes nothing."""
    attitude = Rotation.from_euler("ZY", [[70.0, degrees]], degrees=True).as_matrix()
    assert np.degrees(pitch_rad(attitude)[0]) == pytest.approx(degrees)
    assert np.degrees(yaw_rad(attitude)[0]) == pytest.approx(70.0)


def test_a_two_segment_rig_bends_by_the_sum_of_both_tips():
    """By hand: thigh leaning 40 degrees back, shank 50 degrees forward: the knee is bent by 90 degrees."""
    thigh = Rotation.from_euler("Y", [-40.0], degrees=True).as_matrix()
    shank = Rotation.from_euler("Y", [50.0], degrees=True).as_matrix()
    assert np.degrees(flexion_rad(thigh.reshape(1, 3, 3), shank.reshape(1, 3, 3))[0]) == pytest.approx(90.0)


def test_mean_directions_are_those_of_scipy():
    angle = np.random.default_rng(2).vonmises(3.0, 2.0, 60)
    mean, length = mean_direction_deg(np.degrees(angle))
    assert mean == pytest.approx(np.degrees(circmean(angle, high=np.pi, low=-np.pi)))
    assert length == pytest.approx(1 - circvar(angle))


def test_mean_of_directions_around_the_turn():
    """By hand: 170 and -170 degrees have the mean 180, not 0; their resultant is cos 10 degrees."""
    mean, length = mean_direction_deg(np.array([170.0, -170.0, np.nan]))
    assert abs(mean) == pytest.approx(180.0)
    assert length == pytest.approx(np.cos(np.radians(10)))


def test_phases_are_wrapped():
    np.testing.assert_allclose(
        wrapped_deg(np.array([190.0, -190.0, 180.0, -180.0, 30.0])), [-170.0, 170.0, 180.0, 180.0, 30.0]
    )
