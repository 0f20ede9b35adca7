"""Sensors on a rigid segment that squats as a formula says, mounted any way: the axes are known."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imustride.alignment.fitting import FittingSettings, fit_standing, kind_of
from imustride.recording import Recording
from imustride.session import Sensor

RATE_HZ = 200.0
STANDING = slice(20, 580)  # of three seconds
GRAVITY = np.array([0.0, 0.0, 9.81])
MOUNTED = Rotation.random(6, random_state=11).as_matrix()  # segment_from_sensor


def bend(depth_deg, lasts_s=2.0, halt_s=0.0):
    """Angle over one squat [rad]: down and up as half a cosine each, with a halt at the bottom."""
    half = (
        np.radians(depth_deg)
        * (1 - np.cos(np.pi * np.arange(round(lasts_s / 2 * RATE_HZ)) * 2 / (lasts_s * RATE_HZ)))
        / 2
    )
    return np.concatenate([half, np.full(round(halt_s * RATE_HZ), np.radians(depth_deg)), half[::-1]])


def still(lasts_s):
    return np.zeros(round(lasts_s * RATE_HZ))


def recorded(
    pieces, axis=(0, 1, 0), mounted=MOUNTED[0], place="left_shank", axes=None, noise=0.0, beside=0.0
):
    """A sensor on a segment that turns by given angles about an axis of the lane it stands in; spans of the movements.

    `beside` [rad]: it rocks about the forward axis too, three times a second, while it moves.
    """
    angle = np.concatenate(pieces)
    ends = np.cumsum([len(piece) for piece in pieces])
    spans = [slice(end - len(p), end) for end, p in zip(ends, pieces, strict=True) if np.ptp(p) > 0]
    axis = np.asarray(axis, float) / np.linalg.norm(axis)
    rock = beside * np.sin(2 * np.pi * 3 * np.arange(len(angle)) / RATE_HZ) * (np.abs(angle) > 0)
    attitude = Rotation.from_rotvec(angle[:, None] * axis) * Rotation.from_rotvec(rock[:, None] * [1.0, 0, 0])
    rate = np.zeros((len(angle), 3))
    rate[:-1] = (attitude[:-1].inv() * attitude[1:]).as_rotvec() * RATE_HZ
    rng = np.random.default_rng(4)
    rate = rate @ mounted + [0.01, -0.02, 0.015] + noise * rng.standard_normal(rate.shape)
    force = attitude.inv().apply(GRAVITY) @ mounted + 10 * noise * rng.standard_normal(rate.shape)
    full = np.ones(len(angle), bool)
    sensor = Sensor(place=place, axes=axes)
    return Recording(sensor, 0.0, RATE_HZ, force, rate, full, np.zeros((len(angle), 2), bool)), spans


def off_deg(found, wanted):
    """Angle between two attitudes [deg]."""
    turn = found.segment_from_sensor @ np.asarray(wanted).T
    return np.degrees(Rotation.from_matrix(turn).magnitude())


TWO_SQUATS = [still(3), bend(40), still(1), bend(40), still(1)]


@pytest.mark.parametrize("mounted", MOUNTED)
@pytest.mark.parametrize("place", ["left_shank", "right_shank", "pelvis", "trunk"])
def test_a_segment_that_tips_forward_has_its_axes_within_a_degree(mounted, place):
    recording, spans = recorded(TWO_SQUATS, mounted=mounted, place=place, noise=0.005)
    found = fit_standing(recording, STANDING, spans)
    assert off_deg(found, mounted) < 1.0
    assert found.upright
    assert found.problem == ""
    assert found.movements == 2
    assert np.radians(1.5) <= found.forward_sd_rad < np.radians(3)


@pytest.mark.parametrize("mounted", MOUNTED[:3])
@pytest.mark.parametrize("place", ["left_thigh", "right_thigh"])
def test_a_thigh_tips_back_in_a_squat(mounted, place):
    """By hand: its top, the hip, goes back: a turn about -y."""
    pieces = [still(3), -bend(60), still(1), -bend(60), still(1)]
    recording, spans = recorded(pieces, mounted=mounted, place=place)
    assert off_deg(fit_standing(recording, STANDING, spans), mounted) < 1.0


def test_axes_are_those_of_a_right_handed_frame_and_give_gravity_its_place():
    recording, spans = recorded(TWO_SQUATS, mounted=MOUNTED[2])
    found = fit_standing(recording, STANDING, spans).segment_from_sensor
    np.testing.assert_allclose(found @ found.T, np.eye(3), atol=1e-9)
    assert np.linalg.det(found) == pytest.approx(1.0)
    np.testing.assert_allclose(found @ recording.acceleration_m_s2[STANDING].mean(axis=0), GRAVITY, atol=1e-6)


def test_a_halt_at_the_bottom_may_cut_a_squat_in_two():
    """Going down and coming up are movements of their own then: coming up alone would look like tipping back."""
    down_up = bend(40, halt_s=1.0)
    recording, _ = recorded([still(3), down_up, still(1)], mounted=MOUNTED[1])
    down, up = slice(600, 800), slice(1000, 1200)
    for spans in ([down, up], [up], [down]):
        assert off_deg(fit_standing(recording, STANDING, spans), MOUNTED[1]) < 1.0


def test_two_squats_of_different_depth():
    recording, spans = recorded([still(3), bend(20), still(1), bend(65), still(1)], mounted=MOUNTED[3])
    found = fit_standing(recording, STANDING, spans)
    assert off_deg(found, MOUNTED[3]) < 1.0
    assert found.movements == 2


@pytest.mark.parametrize("place", ["left_shank", "left_thigh"])
def test_a_squat_before_the_standing_shows_the_same(place):
    """Warming up first, then standing straight: which way it tips counts from the standing, wherever that is."""
    depth = -50 if place == "left_thigh" else 50
    recording, spans = recorded(
        [still(0.5), bend(depth), still(3), still(2)], mounted=MOUNTED[4], place=place
    )
    found = fit_standing(recording, slice(520, 1080), spans)
    assert off_deg(found, MOUNTED[4]) < 1.0
    assert found.movements == 1


def test_knees_that_point_outward_turn_the_axes_outward():
    """The plane of the leg is the plane in which it bends: with knees 20 degrees out, x points 20 degrees outward."""
    out = np.radians(20.0)
    recording, spans = recorded(TWO_SQUATS, axis=(-np.sin(out), np.cos(out), 0), mounted=MOUNTED[5])
    found = fit_standing(recording, STANDING, spans)
    # Of a left leg outward is left: the knee's plane is the segment's turned by +20 about z.
    wanted = Rotation.from_euler("z", -20, degrees=True).as_matrix() @ MOUNTED[5]
    assert off_deg(found, wanted) < 1.0


def test_turns_about_the_long_axis_are_passed_over():
    recording, spans = recorded(TWO_SQUATS, mounted=MOUNTED[0], place="trunk")
    turning, turns = recorded(
        [still(3), bend(50), still(1), -bend(50), still(1)], axis=(0, 0, 1), place="trunk"
    )
    both = np.concatenate((recording.angular_velocity_rad_s, turning.angular_velocity_rad_s))
    force = np.concatenate((recording.acceleration_m_s2, turning.acceleration_m_s2))
    size = len(recording.measured)
    joined = Recording(
        recording.sensor, 0.0, RATE_HZ, force, both, np.ones(2 * size, bool), np.zeros((2 * size, 2), bool)
    )
    spans += [slice(turn.start + size, turn.stop + size) for turn in turns]
    found = fit_standing(joined, STANDING, spans)
    assert found.movements == 2
    assert off_deg(found, MOUNTED[0]) < 1.0


def test_a_nod_too_small_to_show_an_axis_is_passed_over():
    least = FittingSettings().least_bend_deg
    for depth_deg, movements in ((least - 2, 0), (least + 2, 2)):
        recording, spans = recorded([still(3), bend(depth_deg), still(1), bend(depth_deg), still(1)])
        assert fit_standing(recording, STANDING, spans).movements == movements


def test_without_a_squat_the_long_axis_is_known_and_forward_is_not():
    recording, _ = recorded([still(4)], mounted=MOUNTED[2])
    found = fit_standing(recording, STANDING, [])
    assert found.upright
    assert found.forward_sd_rad == np.inf
    assert found.movements == 0
    np.testing.assert_allclose(found.segment_from_sensor[2], MOUNTED[2][2], atol=1e-9)


# Sensor x points left, y up, z forward: forward, left, up are +z, +x, +y.
DECLARED = ("+z", "+x", "+y")
NOMINAL = np.array([[0.0, 0, 1], [1, 0, 0], [0, 1, 0]])


def test_without_a_squat_declared_axes_show_forward():
    tilted = Rotation.from_euler("y", 8, degrees=True).as_matrix() @ NOMINAL
    recording, _ = recorded([still(4)], mounted=tilted, axes=DECLARED)
    found = fit_standing(recording, STANDING, [])
    assert off_deg(found, tilted) < 1.0
    assert np.degrees(found.forward_sd_rad) == pytest.approx(10.0)


def test_a_squat_tells_more_than_declared_axes():
    turned = Rotation.from_euler("z", 25, degrees=True).as_matrix() @ NOMINAL
    recording, spans = recorded(TWO_SQUATS, mounted=turned, axes=DECLARED)
    found = fit_standing(recording, STANDING, spans)
    assert off_deg(found, turned) < 1.0


@pytest.mark.parametrize("place", ["left_wrist", "head"])
def test_wrist_and_head_do_not_bend_in_a_squat(place):
    recording, spans = recorded(TWO_SQUATS, mounted=NOMINAL, place=place)
    assert fit_standing(recording, STANDING, spans).forward_sd_rad == np.inf


@pytest.mark.parametrize("squats", [True, False])
def test_declared_upside_down_is_named(squats):
    over = np.diag([-1.0, 1.0, -1.0]) @ NOMINAL
    recording, spans = recorded(TWO_SQUATS, mounted=over, axes=DECLARED)
    found = fit_standing(recording, STANDING, spans if squats else [])
    assert "(+y) is upside down" in found.problem
    assert "turn the sensor, correct axes in session.toml, or leave them out" in found.problem


def test_declared_to_point_up_and_lying_is_named():
    lying = Rotation.from_euler("x", 90, degrees=True).as_matrix() @ NOMINAL
    recording, spans = recorded(TWO_SQUATS, mounted=lying, axes=DECLARED)
    assert "(+y) is 90 degrees away" in fit_standing(recording, STANDING, spans).problem


def test_a_sensor_half_a_right_angle_off_is_taken_as_it_is():
    tilted = Rotation.from_euler("x", 45, degrees=True).as_matrix() @ NOMINAL
    recording, spans = recorded(TWO_SQUATS, mounted=tilted, axes=DECLARED)
    found = fit_standing(recording, STANDING, spans)
    assert found.problem == ""
    assert off_deg(found, tilted) < 1.0


def test_squats_about_two_axes_are_named():
    """One squat with the knees 35 degrees out and one 35 degrees in: half of the angle between them is the deviation."""
    pieces = [still(3), bend(45), still(1)]
    first, spans = recorded(pieces, axis=(-np.sin(np.radians(35)), np.cos(np.radians(35)), 0))
    second, _ = recorded(pieces, axis=(np.sin(np.radians(35)), np.cos(np.radians(35)), 0))
    size = len(first.measured)
    both = Recording(
        first.sensor, 0.0, RATE_HZ,
        np.concatenate((first.acceleration_m_s2, second.acceleration_m_s2)),
        np.concatenate((first.angular_velocity_rad_s, second.angular_velocity_rad_s)),
        np.ones(2 * size, bool), np.zeros((2 * size, 2), bool),
    )  # fmt: skip
    found = fit_standing(both, STANDING, [spans[0], slice(spans[0].start + size, spans[0].stop + size)])
    assert np.degrees(found.forward_sd_rad) == pytest.approx(35.0, abs=1.0)
    assert "known to 35 degrees" in found.problem
    assert "record two slow squats" in found.problem


def test_a_wobbly_segment_that_shows_no_one_axis_is_named():
    recording, spans = recorded(TWO_SQUATS, beside=0.05)
    assert "do not show one axis" in fit_standing(recording, STANDING, spans).problem


def test_the_kind_of_a_place_leaves_out_its_side():
    assert [kind_of(place) for place in ("left_shank", "right_thigh", "trunk")] == ["shank", "thigh", "trunk"]
