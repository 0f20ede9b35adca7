"""The body above the skates: rigid, smooth, where the skates are, and plausible."""

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from imustride.constants import PLACES
from imustride.errors import SettingsError
from imustride.simulation import simulate_run
from imustride.simulation.body_draw import BODY_PLACES, draw_body
from imustride.simulation.body_sensors import felt
from imustride.simulation.body_truth import body_columns, on_lane
from imustride.simulation.drawing import draw
from imustride.simulation.motion import move
from imustride.simulation.rotations import flexion, own_rate, pitch
from imustride.simulation.truth import lane_angle
from imustride.simulation.whole_body import ankle_in_boot, body_motion

GRID_HZ = 4000.0
SIDES = ("left", "right")
CASES = [("good", 0), ("good", 2), ("poor", 3), ("real_ice", 5), ("real_ice", 7)]
WHOLE = {"log_begins_late": False, "log_ends_early": False}


@pytest.fixture(scope="module", params=CASES, ids=lambda case: f"{case[0]}-{case[1]}")
def simulated(request):
    grade, seed = request.param
    drawn = draw(seed, grade)
    motion, body = move(drawn), draw_body(drawn, BODY_PLACES, {})
    return drawn, motion, body, body_motion(drawn, body, motion)


def test_bones_keep_their_length_and_meet_at_the_joints(simulated):
    _, _, body, whole = simulated
    for side in SIDES:
        leg, (thigh_m, shank_m) = whole.legs[side], body.figure.leg_m(side)
        np.testing.assert_allclose(np.linalg.norm(leg.hip_m - leg.knee_m, axis=1), thigh_m, atol=1e-9)
        np.testing.assert_allclose(np.linalg.norm(leg.knee_m - leg.ankle_m, axis=1), shank_m, atol=1e-9)
        up = (leg.knee_m - leg.ankle_m) / shank_m
        np.testing.assert_allclose(leg.shank[:, :, 2], up, atol=1e-9)
    apart = np.linalg.norm(whole.legs["left"].hip_m - whole.legs["right"].hip_m, axis=1)
    np.testing.assert_allclose(apart, body.figure.hips_m, atol=1e-9)


def test_attitudes_are_rotations(simulated):
    for segment in simulated[3].segments.values():
        some = segment.rotation[::997]
        np.testing.assert_allclose(
            some @ np.swapaxes(some, 1, 2), np.tile(np.eye(3), (len(some), 1, 1)), atol=1e-9
        )
        np.testing.assert_allclose(np.linalg.det(some), 1.0, atol=1e-9)


def test_the_feet_stay_in_the_skates(simulated):
    """The joint gives way by millimetres in blows and quick turns, and comes back."""
    _, motion, _, whole = simulated
    for side in SIDES:
        away = np.linalg.norm(whole.legs[side].ankle_m - ankle_in_boot(motion, side), axis=1)
        assert away.max() < 0.012
        assert np.median(away) < 0.001


def test_everything_moves_smoothly(simulated):
    """No jump in the acceleration of any joint: neighbouring samples of the grid differ by little."""
    for segment in simulated[3].segments.values():
        acceleration = np.diff(segment.place_m, 2, axis=0) * GRID_HZ**2
        assert np.abs(acceleration).max() < 300  # ankles of feet pulled up quickly
        assert np.abs(np.diff(acceleration, axis=0)).max() < 12
        assert np.degrees(np.abs(own_rate(segment.rotation)).max()) < 1200


def test_the_stance_is_a_quiet_ready_position(simulated):
    _, motion, _, whole = simulated
    stance = slice(*(int(time_s * GRID_HZ) for time_s in motion.plan.stance_s))
    for side in SIDES:
        bent = np.degrees(flexion(whole.legs[side].thigh, whole.legs[side].shank))[stance]
        assert 18 < bent.min() <= bent.max() < 52
        assert np.ptp(bent) < 6
    for segment in whole.segments.values():
        assert np.degrees(np.abs(own_rate(segment.rotation)[stance]).max()) < 8
        assert np.ptp(segment.place_m[stance], axis=0).max() < 0.05


def test_perfect_sensors_feel_the_derivatives_of_the_motion(simulated):
    """Gyroscope integrated by Rotation gives the attitude; force is the path's second difference and gravity."""
    _, motion, body, whole = simulated
    begin = int(motion.plan.pushes[3].off_s * GRID_HZ)
    span = slice(begin, begin + 4000)
    for place, segment in whole.segments.items():
        force, rate = felt(body.devices[place], segment)
        turns = Rotation.from_rotvec((rate[span][1:] + rate[span][:-1]) / 2 / GRID_HZ)
        found = Rotation.from_matrix(segment.rotation[begin])
        for turn in turns:
            found *= turn
        true = Rotation.from_matrix(segment.rotation[begin + 3999])
        assert np.degrees((found.inv() * true).magnitude()) < 0.02
        attitude = Rotation.from_matrix(segment.rotation[span])
        path = segment.place_m[span] + attitude.apply(body.devices[place].position_m)
        velocity = np.diff(path, axis=0) * GRID_HZ
        acceleration = attitude[1:-1].apply(force[span][1:-1]) - [0, 0, 9.80665]
        np.testing.assert_allclose(
            np.cumsum(acceleration, axis=0) / GRID_HZ, velocity[1:] - velocity[0], atol=1e-6
        )


def late_pushes(seed, **overrides):
    drawn = draw(seed, "good")
    motion, body = move(drawn), draw_body(drawn, BODY_PLACES, overrides)
    columns = body_columns(on_lane(body, motion, body_motion(drawn, body, motion), lane_angle(motion)))
    return columns[5:]


@pytest.fixture(scope="module")
def late():
    return pd.concat([late_pushes(seed) for seed in range(6)])


# Widest plausible values of single pushes and of their median. Common practice, no source: a deep posture tips the
# shank some 55 degrees, knees bend by 60 to 100 and extend to 15 to 35, legs leave at some 40 to 50 degrees from
# the vertical; skaters drawn with a short reach and quick strides stay more upright.
@pytest.mark.parametrize(
    ("column", "least", "most", "median_least", "median_most"),
    [
        ("knee_flexion_max_deg", 32, 105, 60, 100),
        ("knee_flexion_off_deg", 15, 40, 20, 35),
        ("knee_extension_ratio", 0.93, 0.99, 0.94, 0.98),
        ("knee_extension_velocity_deg_s", 150, 900, 300, 700),
        ("shank_inclination_max_deg", 15, 70, 30, 58),
        ("shank_inclination_off_deg", -15, 50, 5, 35),
        ("shank_to_skate_angle_max_deg", 10, 70, 30, 55),
        ("leg_angle_off_deg", -5, 60, 25, 50),
        ("hip_ahead_of_ankle_m", -0.25, 0.35, -0.1, 0.12),
        ("trunk_lean_deg", 20, 58, 25, 55),
        ("shoulder_turn_range_deg", 5, 40, 10, 30),
        ("pelvis_turn_range_deg", 4, 25, 5, 20),
        ("pelvis_vertical_range_m", 0.005, 0.25, 0.02, 0.12),
        ("head_vertical_range_m", 0.005, 0.25, 0.02, 0.12),
        ("pelvis_lateral_range_m", 0.02, 0.7, 0.1, 0.4),
        ("head_lateral_range_m", 0.02, 0.7, 0.1, 0.4),
        ("arm_swing_range_deg", 25, 110, 40, 90),
        ("arm_across_share_ratio", 0.02, 0.7, 0.05, 0.6),
        ("arm_push_lag_s", -0.15, 0.15, -0.08, 0.1),
        ("shoulder_push_lag_s", -0.12, 0.12, -0.08, 0.1),
    ],
)  # fmt: skip
def test_pushes_are_plausible(late, column, least, most, median_least, median_most):
    values = late[column]
    assert values.notna().all()
    assert values.between(least, most).all(), values.describe()
    assert median_least < values.median() < median_most


def test_the_knee_extends_after_it_was_deepest_and_the_head_is_more_quiet_than_the_pelvis(late):
    assert (late["knee_flexion_max_deg"] > late["knee_flexion_off_deg"] + 5).all()
    assert (late["glide_before_extension_s"] > 0).all()
    assert late["head_lateral_range_m"].median() < late["pelvis_lateral_range_m"].median()


@pytest.mark.parametrize(
    ("override", "column", "of_right", "expected"),
    [
        ({"extension_asymmetry_deg": 8.0, "off_flexion_deg": 28.0}, "knee_flexion_off_deg", True, 8.0),
        ({"arm_lag_asymmetry_s": 0.06, "beat_sd_s": 0.0}, "arm_push_lag_s", False, 0.06),
        ({"arm_swing_asymmetry_deg": 10.0}, "arm_swing_range_deg", False, 20.0),
        ({"knee_asymmetry_deg": 16.0}, "knee_flexion_max_deg", True, 16.0),
    ],
    ids=lambda value: next(iter(value)) if isinstance(value, dict) else None,
)
def test_planted_asymmetries_reach_the_truth(override, column, of_right, expected):
    """Right minus left of the limb itself: arm columns belong to the arm of the other side."""

    def difference(overrides):
        drawn = draw(9, "good")
        motion, body = move(drawn), draw_body(drawn, BODY_PLACES, overrides)
        columns = body_columns(on_lane(body, motion, body_motion(drawn, body, motion), lane_angle(motion)))[
            5:
        ]
        sides = np.array([push.side for push in sorted(motion.plan.pushes, key=lambda push: push.off_s)][5:])
        means = {side: columns[column][sides == side].mean() for side in SIDES}
        return (means["right"] - means["left"]) * (1 if of_right else -1)

    even = difference({name: 0.0 if "asymmetry" in name else value for name, value in override.items()})
    # The pelvis carries both legs, so that what is aimed at is met in part.
    tolerance = {"knee_asymmetry_deg": 0.5, "extension_asymmetry_deg": 0.2}.get(
        next(iter(override)), 0.1
    ) * expected
    assert difference(override) - even == pytest.approx(expected, abs=tolerance)


def same(one, other):
    return all(
        np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True)
        for name in ("time_s", "acceleration_m_s2", "angular_velocity_rad_s")
    )


@pytest.fixture(scope="module")
def whole_run():
    return simulate_run(4, "good", body=True, **WHOLE)


def test_skates_are_the_same_with_and_without_a_body(whole_run):
    plain = simulate_run(4, "good", **WHOLE)
    assert set(plain.logs) == {"left_skate", "right_skate"}
    assert not plain.segments
    assert not plain.movements
    assert not plain.body
    for place, log in plain.logs.items():
        assert same(log, whole_run.logs[place])
    pd.testing.assert_frame_equal(plain.truth, whole_run.truth[plain.truth.columns])


def test_a_place_logs_the_same_whatever_else_is_worn(whole_run):
    some = simulate_run(4, "good", places=("pelvis", "right_shank"), **WHOLE)
    assert list(some.logs) == ["left_skate", "right_skate", "right_shank", "pelvis"]
    for place in ("right_shank", "pelvis"):
        assert same(some.logs[place], whole_run.logs[place])
        assert same(some.movements["all"][place], whole_run.movements["all"][place])
    assert some.truth["head_lateral_range_m"].isna().all()  # no sensor, no place
    np.testing.assert_array_equal(
        some.truth["pelvis_turn_range_deg"], whole_run.truth["pelvis_turn_range_deg"]
    )


def test_a_whole_run_has_every_place_and_what_was_measured(whole_run):
    assert set(whole_run.logs) == set(PLACES) == set(whole_run.segments) == set(whole_run.movements["all"])
    for log in whole_run.logs.values():
        quiet = log.acceleration_m_s2[: int(0.3 / np.median(np.diff(log.time_s)))]
        assert np.linalg.norm(quiet, axis=1).mean() == pytest.approx(9.807, abs=0.6)
    for name, measured_m in whole_run.body.items():
        assert measured_m == pytest.approx(whole_run.factors[name], abs=0.0056)


def test_segments_are_those_of_the_columns(whole_run):
    """Pitch of the shank at blade-off, read from the segments at 400 Hz on the left skate's clock."""
    truth = whole_run.truth
    for _, row in truth[truth["push"] > 1].iterrows():
        shank = whole_run.segments[f"{row['side']}_shank"]
        assert np.median(np.diff(shank.time_s)) == pytest.approx(1 / 400, rel=1e-3)
        tipped = np.degrees(pitch(shank.lane_from_segment))
        found = np.interp(row["blade_off_s"], shank.time_s, tipped)
        assert found == pytest.approx(row["shank_inclination_off_deg"], abs=0.1)


def test_rates_and_devices_of_places():
    run = simulate_run(
        2,
        "good",
        places=("pelvis", "head"),
        rate_hz=400.0,
        body_rate_hz=100.0,
        head_rate_hz=52.0,
        gyro_noise_deg_s=0.0,
    )
    rates = {place: 1 / np.median(np.diff(log.time_s)) for place, log in run.logs.items()}
    assert rates["left_skate"] == pytest.approx(400, rel=0.01)
    assert rates["pelvis"] == pytest.approx(100, rel=0.01)
    assert rates["head"] == pytest.approx(52, rel=0.01)


def test_wobble_turns_the_sensor_and_not_the_truth():
    still, wobbling = (
        simulate_run(2, "good", places=("left_thigh",), wobble_deg=w, **WHOLE) for w in (0.0, 2.0)
    )
    pd.testing.assert_frame_equal(still.truth, wobbling.truth)
    one, other = (run.logs["left_thigh"].angular_velocity_rad_s for run in (still, wobbling))
    added = np.degrees(np.linalg.norm(other - one, axis=1))
    own = still.logs["left_thigh"].time_s
    assert not added[: int(0.1 * len(own))].any()
    assert 10 < added.max() < 150  # 2 degrees at up to 5 Hz: 63 deg/s for one sine


def test_blows_of_the_heels_climb_up_the_body():
    """Each place feels less than the one below, and later, by up to 8 ms."""
    clocks = {
        "clock_offset_s": 0.0,
        "clock_drift_ppm": 0.0,
        "delay_s": 0.0,
        "low_pass_ratio": 0.0,
        "rate_hz": 1000.0,
    }
    shocks = {"shock_kind": "heels", "shock_height_m": 0.04, "shock_apart_s": 0.0}
    run = simulate_run(5, "good", body=True, **clocks, **shocks, **WHOLE)
    shock_s = move(draw(5, "good", 0, clocks | shocks | WHOLE)).plan.shocks_s[0]
    found = {}
    for place in ("left_skate", "left_shank", "pelvis", "head"):
        log = run.logs[place]
        near = np.abs(log.time_s - shock_s) < 0.03
        jolt = np.abs(np.linalg.norm(log.acceleration_m_s2[near], axis=1) - 9.80665)
        found[place] = (jolt.max(), log.time_s[near][jolt.argmax()])
    sizes, times = zip(*found.values(), strict=True)
    assert all(lower > upper for lower, upper in pairwise(sizes))
    assert sizes[-1] > 2.0
    assert 0 < times[-1] - times[1] < 0.012


def test_the_wrong_words_and_legs_too_short_are_refused():
    with pytest.raises(SettingsError, match="unknown place 'left_knee'"):
        simulate_run(1, "good", places=("left_knee",))
    with pytest.raises(SettingsError, match="unknown override 'pelvis_rate'"):
        simulate_run(1, "good", body=True, pelvis_rate=3)
    with pytest.raises(
        SettingsError, match=r"leg is 0\..* m long, the run asks for .*choose a larger height_m"
    ):
        simulate_run(2, "good", places=("head",), height_m=0.9)
