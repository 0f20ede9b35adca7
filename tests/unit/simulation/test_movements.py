"""The recording at the boards: standing straight, squats, turns and swings, on clocks that run on."""

import numpy as np
import pytest

from imustride.simulation.body_draw import BODY_PLACES, draw_body
from imustride.simulation.drawing import draw
from imustride.simulation.movements import STREAM, courses, moved, movements
from imustride.simulation.rotations import apply_back, flexion, own_rate, pitch, yaw

GRID_HZ = 4000.0
CASES = [0, 1, 2]


@pytest.fixture(scope="module", params=CASES)
def done(request):
    drawn = draw(request.param, "good")
    body = draw_body(drawn, BODY_PLACES, {"squat_turn_deg": 0.0})
    rng = np.random.default_rng([request.param, STREAM])
    laid = courses(rng)
    return body, laid, moved(drawn, body, laid, rng)


def test_it_begins_with_three_seconds_of_standing_straight(done):
    _, _, segments = done
    still = slice(0, int(3.5 * GRID_HZ))
    for place, segment in segments.items():
        assert np.degrees(np.abs(own_rate(segment.rotation)[still]).max()) < 1
        if place.partition("_")[2] not in {"skate", "shank", "thigh"}:
            assert np.degrees(np.abs(pitch(segment.rotation[still])).max()) < 0.3
    for side in ("left", "right"):
        bend = flexion(segments[f"{side}_thigh"].rotation, segments[f"{side}_shank"].rotation)
        assert 0 <= np.degrees(bend[still].min()) <= np.degrees(bend[still].max()) < 4


def test_two_squats_with_hips_going_back_two_turns_and_two_swings(done):
    _, laid, segments = done
    for course, least in ((laid.squat, 0.5), (laid.turn_rad, 0.4), (laid.arms_rad, 0.4)):
        up = np.flatnonzero((course[:-1] < least) & (course[1:] >= least))
        assert len(up) == 2
    deepest = int(laid.squat.argmax())
    for side in ("left", "right"):
        shank, thigh = segments[f"{side}_shank"], segments[f"{side}_thigh"]
        assert 65 < np.degrees(flexion(thigh.rotation, shank.rotation)[deepest]) < 105
        hip_m = segments["pelvis"].place_m[deepest] - shank.place_m[deepest]
        assert apply_back(segments["pelvis"].rotation[:1], hip_m[None])[0, 0] < -0.04
    assert np.degrees(pitch(segments["trunk"].rotation[deepest][None]))[0] > 30
    facing = yaw(segments["trunk"].rotation) - yaw(segments["trunk"].rotation[:1])
    assert 60 < np.degrees(np.ptp(facing)) < 95


def test_feet_stay_where_they_are(done):
    body, _, segments = done
    for side in ("left", "right"):
        shank, thigh = segments[f"{side}_shank"], segments[f"{side}_thigh"]
        assert np.ptp(shank.place_m, axis=0).max() < 0.005  # swaying about the ankles' middle
        knee_m = shank.place_m + body.figure.leg_m(side)[1] * shank.rotation[:, :, 2]
        np.testing.assert_allclose(knee_m, thigh.place_m, atol=1e-9)


@pytest.mark.parametrize("error_deg", [0.0, 1.0, 4.0])
def test_legs_stand_as_far_from_the_vertical_as_told(error_deg):
    away = []
    for seed in range(30):
        drawn = draw(seed, "good")
        body = draw_body(drawn, (), {"straight_error_deg": error_deg})
        rng = np.random.default_rng([seed, STREAM])
        laid = courses(rng)
        short = type(laid)(laid.squat[:40], laid.soft[:40], laid.turn_rad[:40], laid.arms_rad[:40])
        segments = moved(drawn, body, short, rng)
        for place in ("left_shank", "left_thigh", "right_shank", "right_thigh"):
            up = segments[place].rotation[0]
            facing = np.arctan2(up[1, 0], up[0, 0])
            ahead = up[0, 2] * np.cos(facing) + up[1, 2] * np.sin(facing)
            away.append(np.degrees(np.arcsin(ahead)))
    assert np.std(away) == pytest.approx(error_deg, rel=0.2, abs=0.2)  # 0.2 degrees of sway


def test_a_turn_of_the_shank_in_the_squat_is_about_its_length():
    drawn = draw(1, "good")
    found = []
    for turn_deg in (0.0, 5.0):
        body = draw_body(drawn, (), {"squat_turn_deg": turn_deg})
        rng = np.random.default_rng([1, STREAM])
        laid = courses(rng)
        found.append(moved(drawn, body, laid, rng)["left_shank"].rotation)
    straight, turned = found
    np.testing.assert_allclose(straight[:, :, 2], turned[:, :, 2], atol=1e-12)
    np.testing.assert_allclose(straight[:1000], turned[:1000], atol=1e-12)
    deepest = int(laid.squat.argmax())
    assert np.degrees(np.arccos(straight[deepest, :, 0] @ turned[deepest, :, 0])) > 1


def test_clocks_run_on_to_the_run_and_devices_are_those_of_the_run():
    drawn = draw(3, "good", 0, {"rate_hz": 200.0})
    body = draw_body(drawn, ("pelvis", "left_shank"), {"body_rate_hz": 100.0})
    (logs,) = movements(drawn, body).values()
    assert set(logs) == {"left_skate", "right_skate", "pelvis", "left_shank"}
    for place, log in logs.items():
        device = drawn.devices[place.partition("_")[0]] if "skate" in place else body.devices[place]
        end_s = log.time_s[-1] - device.clock_offset_s
        assert -150 < log.time_s[0] - device.clock_offset_s < -149
        assert end_s < -100
        assert log.sensor.place == place
    assert np.median(np.diff(logs["pelvis"].time_s)) == pytest.approx(0.01, rel=1e-3)
