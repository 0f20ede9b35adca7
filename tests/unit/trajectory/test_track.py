"""Lane, body and blade of a fit, on a straight line whose errors are known; and when a path is not to be trusted."""

from dataclasses import replace

import numpy as np
import pytest

from imustride.kinematics import Clock, Gates
from imustride.trajectory.body import body_path
from imustride.trajectory.joint import Rhythm, Solution
from imustride.trajectory.middle import stride_at
from imustride.trajectory.settings import TrackSettings
from imustride.trajectory.skate import Course
from imustride.trajectory.track import lane_of, track
from tests.reference.test_trajectory_fit import END_S, SIDES, contacts_of, gates_passed, made, run_of_blade

SETTINGS = TrackSettings()
SPEED_M_S, TURN_SD_RAD, SCALE_SD = 5.0, 0.01, 0.02
RHYTHM = Rhythm((np.arange(0.5, 6.0, 0.6),), 5.5, 0.6)


def straight(way_rad=0.0):
    """A foot at 5 m/s on a straight line; its two unknowns turn the line about its start and stretch it."""
    time_s = np.arange(0, 6.01, 0.02)
    way = np.array([np.cos(way_rad), np.sin(way_rad)])
    place = SPEED_M_S * time_s[:, None] * way
    turned = np.column_stack([-place[:, 1], place[:, 0]])
    speed = np.tile(SPEED_M_S * way, (len(time_s), 1))
    nothing = np.zeros((len(time_s), 2))
    return Course(
        time_s, place, speed, np.stack([turned, place], axis=2), np.stack([speed[:, ::-1] * [-1, 1], speed], axis=2),
        nothing[:, 0], nothing, 0.0, nothing, np.ones(2), slice(2, 2),
    )  # fmt: skip


SOLUTION = Solution(np.zeros(2), np.diag([TURN_SD_RAD**2, SCALE_SD**2]), 0.0, np.zeros(0), np.zeros(0), 0.0)


def test_strides_are_those_of_either_foot():
    # A landing that was not found parts nothing.
    rhythm = Rhythm((np.array([np.nan, 1.0, 1.5, 2.5]), np.array([1.2, 1.8])), 3.0, 0.6)
    assert rhythm.strides_s.tolist() == [[1.0, 1.5], [1.5, 2.5], [1.2, 1.8]]


def test_the_lane_points_to_the_finish_and_is_as_uncertain_as_the_turn():
    assert lane_of([straight(0.1)], SOLUTION, RHYTHM, 5.0, SETTINGS)[0] == pytest.approx(0.1)
    way_rad, sd_rad = lane_of([straight()], SOLUTION, RHYTHM, 5.0, SETTINGS)
    assert way_rad == pytest.approx(0.0, abs=1e-12)
    # The covariance of a fit is too small by 1.4.
    assert sd_rad == pytest.approx(1.4 * TURN_SD_RAD)


def test_the_body_is_as_uncertain_as_the_stretch_and_its_own_wavering():
    body = body_path([straight(0.1)], SOLUTION, RHYTHM, 0.1, None, SETTINGS)
    inner = (body.time_s > 1.0) & (body.time_s < 5.0)  # the mean over a stride is one-sided at the ends
    place = SPEED_M_S * body.time_s[inner]
    np.testing.assert_allclose(body.position_m[inner], place, rtol=1e-3)
    np.testing.assert_allclose(body.speed_m_s[inner], SPEED_M_S, rtol=1e-3)
    np.testing.assert_allclose(
        np.linalg.norm(body.position_root[inner], axis=1), 1.4 * SCALE_SD * place, rtol=1e-3
    )
    stretched = 1.4 * SCALE_SD * SPEED_M_S
    np.testing.assert_allclose(np.linalg.norm(body.speed_root[inner], axis=1), stretched, rtol=1e-3)
    np.testing.assert_allclose(body.speed_sd_m_s[inner], np.hypot(stretched, 0.17), rtol=1e-3)


def test_the_stride_is_that_of_either_foot_between_its_blade_ons():
    # Strides of 0.6 and 0.7 s around 0.3 and 0.95 s, of the other foot 0.7 and 0.8 s around 0.65 and 1.4 s.
    on_s = (np.array([0.0, 0.6, 1.3]), np.array([0.3, 1.0, np.nan, 1.8]))
    found = stride_at(np.array([0.0, 0.3, 0.475, 0.8, 1.175, 2.0]), on_s, 0.7)
    assert found == pytest.approx([0.6, 0.6, 0.65, 0.7, 0.75, 0.8])
    assert stride_at(np.zeros(2), (np.array([0.4]),), 0.7).tolist() == [0.7, 0.7]


@pytest.fixture(scope="module")
def skates():
    rng = np.random.default_rng(11)
    return {side: made(side, rng) for side in SIDES}


def tracked(skates, gates=None, settings=None):
    contacts = {side: contacts_of(side) for side in SIDES}
    return track(
        skates, dict.fromkeys(SIDES, Clock()), contacts, dict.fromkeys(SIDES, False), gates, settings
    )


def mirrored(found):
    """The same record of the other foot in a mirror that stands along the lane: turning is an axial vector."""
    x, y, z = found.position_m
    flip = np.array([1.0, -1.0, 1.0])
    return replace(
        found, side="right" if found.side == "left" else "left",
        acceleration_m_s2=found.acceleration_m_s2 * flip, velocity_m_s=found.velocity_m_s * flip,
        angular_velocity_rad_s=-found.angular_velocity_rad_s * flip,
        earth_from_segment=flip[:, None] * found.earth_from_segment * flip, position_m=(x, -y, z),
    )  # fmt: skip


def test_in_a_mirror_the_paths_are_those_of_the_other_foot(skates):
    clocks, stands = dict.fromkeys(SIDES, Clock()), dict.fromkeys(SIDES, False)
    contacts = {side: contacts_of(side) for side in SIDES}
    there = {one.side: one for one in map(mirrored, skates.values())}
    swapped = {"left": contacts["right"], "right": contacts["left"]}
    here, found = track(skates, clocks, contacts, stands), track(there, clocks, swapped, stands)
    for side, other in (("left", "right"), ("right", "left")):
        path, image = here.paths[side], found.paths[other]
        np.testing.assert_allclose(image.position_m, path.position_m * [1, -1], atol=1e-9)
        np.testing.assert_allclose(image.velocity_m_s, path.velocity_m_s * [1, -1], atol=1e-9)
    np.testing.assert_allclose(found.body.speed_m_s, here.body.speed_m_s, atol=1e-9)


def test_place_velocity_and_direction_lie_in_one_frame(skates):
    found = tracked(skates)
    assert (found.doubt, found.note) == ("", "")
    for side, path in found.paths.items():
        step = np.diff(path.time_s)[:, None] * 0.5 * (path.velocity_m_s[1:] + path.velocity_m_s[:-1])
        np.testing.assert_allclose(np.diff(path.position_m, axis=0), step, atol=1e-9)
        # Fully under way a blade runs along itself: within the 0.04 m/s of slip and 0.25 degrees that are allowed to it.
        at = (path.time_s > 1.5) & (path.time_s < 4.5)
        runs = np.arctan2(*path.velocity_m_s[at].T[::-1])
        heading = np.interp(path.time_s[at], skates[side].time_s, path.heading_rad)
        assert np.abs(heading - runs).mean() < np.hypot(0.04 / 6, np.radians(0.25))
        true = run_of_blade(side, skates[side].time_s)[1][:, :2, 0]
        away = path.heading_rad - np.arctan2(true[:, 1], true[:, 0])
        under_way = (skates[side].time_s > 1.5) & (skates[side].time_s < 4.5)
        assert np.abs(away[under_way]).max() < 0.02


def test_stated_spreads_are_those_of_the_fit_times_what_it_does_not_see(skates):
    found, bare = tracked(skates), tracked(skates, settings=replace(SETTINGS, sd_factor=1.0))
    for side, path in found.paths.items():
        assert np.linalg.norm(path.root[-1]) > 0.01
        np.testing.assert_allclose(path.root, 1.4 * bare.paths[side].root, rtol=1e-9)
        np.testing.assert_allclose(path.heading_root, 1.4 * bare.paths[side].heading_root, rtol=1e-9)


def test_a_gate_behind_the_end_of_the_track_has_no_miss(skates):
    near, _ = gates_passed()
    far = Gates(np.append(near.position_m, 80.0), np.append(near.time_s, 11.0), near.start_behind_m)
    miss_m = tracked(skates, far).body.gate_miss_m
    assert np.isnan(miss_m).tolist() == [False] * 4 + [True]


def with_gap(skate, begin_s, length_s):
    first = round((begin_s - skate.start_s) * skate.rate_hz)
    measured = skate.measured.copy()
    measured[first : first + round(length_s * skate.rate_hz)] = False
    return replace(skate, measured=measured)


@pytest.mark.parametrize(
    ("begin_s", "length_s", "doubted"), [(2.5, 0.18, False), (2.5, 0.22, True), (END_S - 0.5, 0.4, False)]
)
def test_a_gap_of_a_fifth_of_a_second_loses_the_path(skates, begin_s, length_s, doubted):
    """Unless it lies behind the last push."""
    found = tracked(skates | {"right": with_gap(skates["right"], begin_s, length_s)})
    assert found.doubt == ("a gap of 0.22 s in the right log loses the path" if doubted else "")


def test_an_attitude_that_drifts_away_is_doubted(skates):
    """By 0.1 rad/s about the lane: 50 standard deviations of what is left of a gyroscope's bias."""
    left = skates["left"]
    away = np.outer(np.maximum(left.time_s, 0.0), [0.1, 0.0, 0.0])
    drifted = left.earth_from_segment + np.cross(
        away[:, :, None], left.earth_from_segment, axisa=1, axisb=1, axisc=1
    )
    found = tracked(skates | {"left": replace(left, earth_from_segment=drifted)})
    assert "does not fit blades that run along themselves" in found.doubt
