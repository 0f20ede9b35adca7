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


def test_mean_direction_of_a_published_example():
    """Zar, Biostatistical Analysis, example 26.4 (from memory): eight directions, mean 99 degrees, resultant 0.82522."""
    mean, length = mean_direction_deg(np.array([45.0, 55, 81, 96, 110, 117, 132, 154]))
    assert mean == pytest.approx(99.0, abs=0.5)
    assert length == pytest.approx(0.82522, abs=5e-5)


def test_knee_flexion_is_independent_of_turn_and_abduction():
    """Grood and Suntay 1983: the three angles are independent; composed as R_y(f) R_x(a) R_z(r), f comes back."""
    rng = np.random.default_rng(17)
    angles = np.column_stack(
        (rng.uniform(-20, 140, 200), rng.uniform(-25, 25, 200), rng.uniform(-40, 40, 200))
    )
    proximal = Rotation.random(200, random_state=3)
    distal = proximal * Rotation.from_euler("YXZ", angles, degrees=True)
    found = np.degrees(flexion_rad(proximal.as_matrix(), distal.as_matrix()))
    np.testing.assert_allclose(found, angles[:, 0], atol=1e-9)


@pytest.mark.parametrize("flexion_deg", [0.0, 20.0, 90.0, 130.0])
def test_the_leg_of_a_bent_knee_obeys_the_law_of_cosines(flexion_deg):
    """Two rods of published proportions (Drillis and Contini 1966, in Winter: 0.245 and 0.246 of the height)."""
    both = Rotation.from_euler("Y", [[35.0], [35.0 - flexion_deg]], degrees=True).as_matrix()
    shank, thigh = both[:1], both[1:]
    assert np.degrees(flexion_rad(thigh, shank)[0]) == pytest.approx(flexion_deg)
    leg = 0.245 * thigh[0, :, 2] + 0.246 * shank[0, :, 2]
    inner = np.radians(180.0 - flexion_deg)
    assert leg @ leg == pytest.approx(0.245**2 + 0.246**2 - 2 * 0.245 * 0.246 * np.cos(inner))


def test_mean_of_directions_around_the_turn():
    """By hand: 170 and -170 degrees have the mean 180, not 0; their resultant is cos 10 degrees."""
    mean, length = mean_direction_deg(np.array([170.0, -170.0, np.nan]))
    assert abs(mean) == pytest.approx(180.0)
    assert length == pytest.approx(np.cos(np.radians(10)))


def test_phases_are_wrapped():
    np.testing.assert_allclose(
        wrapped_deg(np.array([190.0, -190.0, 180.0, -180.0, 30.0])), [-170.0, 170.0, 180.0, 180.0, 30.0]
    )
