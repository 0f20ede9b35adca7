"""The second generator's body: bones keep their lengths, feet their skates, sensors feel how they move, truth by hand."""

import numpy as np
import pandas as pd
import pytest
from scipy.spatial.transform import Rotation

from imustride.session import read_session
from tests.generators.build import OUT, PLACES, SIDES
from tests.generators.folders import write_session
from tests.generators.limbs_truth import BODY_COLUMNS, Seen, body_truth, nearest_peak, stride_range
from tests.generators.plan import Plan, Stance
from tests.generators.second import simulate_run
from tests.generators.shapes import GRID_HZ
from tests.generators.turns import about, body_rate, flexion
from tests.generators.wearing import levelled

GRAVITY = np.array([0.0, 0.0, 9.81])
CLEAN = {
    "acc_bias_m_s2": 0.0, "gyro_bias_deg_s": 0.0, "acc_scale": 0.0, "gyro_scale": 0.0, "misalignment_deg": 0.0,
    "acc_noise": 0.0, "gyro_noise_deg": 0.0, "g_sensitivity_deg_s": 0.0, "warming_deg_s": 0.0, "stamp_jitter": 0.0,
    "lowpass": "none", "delay_s": 0.0, "rate_hz": 1000.0, "acc_range_g": 30.0, "gyro_range_deg_s": 3000.0, "log_cut": "none",
    "gaps": 0,
}  # fmt: skip


@pytest.fixture(scope="module", params=[(1, "good"), (2, "real_ice")], ids=["good-1", "real_ice-2"])
def run(request):
    return simulate_run(*request.param, body=True)


@pytest.fixture(scope="module")
def clean():
    return simulate_run(6, "good", body=True, body_shock=0.0, **CLEAN)


def far(a, b):
    return np.linalg.norm(a - b, axis=1)


@pytest.mark.parametrize("side", SIDES)
def test_bones_keep_their_lengths_in_the_run_and_in_the_movements(run, side):
    build = run.worn.build
    upper = ((run.worn.upper, run.worn.lower.pelvis_m), (run.worn.guided.upper, run.worn.guided.pelvis_m))
    for leg in (run.worn.lower.legs[side], run.worn.guided.legs[side]):
        np.testing.assert_allclose(far(leg.knee_m, leg.ankle_m), build.shank_m, atol=1e-9)
        np.testing.assert_allclose(far(leg.hip_m, leg.knee_m), build.thigh_m, atol=1e-7)
    for moved, pelvis_m in upper:
        np.testing.assert_allclose(np.ptp(far(moved.elbows_m[side], moved.wrists_m[side])), 0.0, atol=1e-9)
        np.testing.assert_allclose(np.ptp(far(moved.neck_m, moved.lumbar_m)), 0.0, atol=1e-9)
        np.testing.assert_allclose(np.ptp(far(moved.lumbar_m, pelvis_m)), 0.0, atol=1e-9)
    for legs in (run.worn.lower.legs, run.worn.guided.legs):
        np.testing.assert_allclose(far(legs["left"].hip_m, legs["right"].hip_m), 2 * build.hip_half_m)


@pytest.mark.parametrize("side", SIDES)
def test_ankles_sit_on_the_skates(run, side):
    for skate, leg in (
        (run.motions[side], run.worn.lower.legs[side]),
        (run.worn.guided.skates[side], run.worn.guided.legs[side]),
    ):
        turn = skate.earth_from_segment if hasattr(skate, "earth_from_segment") else skate.turn
        seen = np.einsum("nji,nj->ni", turn, leg.ankle_m - skate.place_m)
        np.testing.assert_allclose(seen, np.tile(run.worn.build.ankle_m, (len(seen), 1)), atol=1e-9)


@pytest.mark.parametrize("side", SIDES)
def test_shank_and_thigh_share_the_axis_of_the_knee(run, side):
    for leg in (run.worn.lower.legs[side], run.worn.guided.legs[side]):
        for turn in (leg.shank, leg.thigh):
            some = turn[::97]
            np.testing.assert_allclose(some @ some.transpose(0, 2, 1), np.tile(np.eye(3), (len(some), 1, 1)), atol=1e-9)  # fmt: skip
        np.testing.assert_allclose(leg.shank[:, :, 1], leg.thigh[:, :, 1], atol=1e-9)
        across = np.sum(leg.shank[:, :, 1] * (leg.hip_m - leg.ankle_m), axis=1)
        np.testing.assert_allclose(across, 0.0, atol=1e-9)
        assert (leg.shank[:, 0, 0] > -0.5).all()


def true_times(log, device, true_later_s=0.0):
    return (log.time_s - device.offset_s) / (1 + device.drift) - true_later_s


@pytest.mark.parametrize("place", PLACES)
def test_a_clean_log_is_the_derivative_of_the_motion(clean, place):
    segment, device, unit = clean.worn.places[place], clean.worn.devices[place], clean.worn.units[place]
    k = np.round(true_times(device.log, device) * GRID_HZ).astype(int)
    ok = (k > 10) & (k < len(segment.place_m) - 10)
    k = k[ok]
    turn = Rotation.from_matrix(segment.turn)
    mounted = Rotation.from_matrix(unit.segment_from_sensor)
    rate = mounted.apply(device.log.angular_velocity_rad_s[ok])
    force = mounted.apply(device.log.acceleration_m_s2[ok])
    found = (turn[k - 4].inv() * turn[k + 4]).as_rotvec() * GRID_HZ / 8
    assert np.sqrt(np.mean((found - rate) ** 2)) < 0.02
    second = (segment.place_m[k + 4] - 2 * segment.place_m[k] + segment.place_m[k - 4]) * (GRID_HZ / 4) ** 2
    wanted = turn[k].inv().apply(second + GRAVITY)
    # The log's samples fall between grid points, up to 0.12 ms away; landings reach 100 m/s^2 within 5 ms.
    assert np.sqrt(np.mean((wanted - force) ** 2)) < 0.3


@pytest.mark.parametrize("place", PLACES)
def test_the_body_moves_without_jumps(run, place):
    for segments in (run.worn.places, run.segments):
        assert place in segments
    segment = run.worn.places[place]
    felt = np.linalg.norm(np.diff(segment.place_m, 2, axis=0), axis=1) * GRID_HZ**2
    turned = np.linalg.norm(body_rate(segment.turn), axis=1)[5:-5]
    assert felt.max() < 400.0
    assert turned.max() < 20.0
    upper = place in {"pelvis", "trunk", "head"}
    assert felt.max() < (70.0 if upper else 400.0)


def test_skates_are_those_of_a_run_without_a_body(run):
    bare = simulate_run(*{"good": (1, "good"), "real_ice": (2, "real_ice")}[run.grade])
    for place, log in bare.logs.items():
        np.testing.assert_array_equal(log.acceleration_m_s2, run.logs[place].acceleration_m_s2)
        np.testing.assert_array_equal(log.angular_velocity_rad_s, run.logs[place].angular_velocity_rad_s)
        np.testing.assert_array_equal(log.time_s, run.logs[place].time_s)
    assert run.truth[list(bare.truth.columns)].equals(bare.truth)
    assert bare.movements == bare.segments == bare.body == {}
    assert list(run.truth.columns[len(bare.truth.columns) :]) == list(BODY_COLUMNS)


def test_a_place_is_the_same_whoever_else_is_worn(run):
    seed = {"good": 1, "real_ice": 2}[run.grade]
    few = simulate_run(seed, run.grade, places=("head", "left_shank"))
    assert set(few.logs) == {"left_skate", "right_skate", "head", "left_shank"}
    assert set(few.movements["all"]) == set(few.logs) == set(few.segments)
    for place, log in few.logs.items():
        np.testing.assert_array_equal(log.acceleration_m_s2, run.logs[place].acceleration_m_s2)
        np.testing.assert_array_equal(
            few.movements["all"][place].angular_velocity_rad_s,
            run.movements["all"][place].angular_velocity_rad_s,
        )
    same = [name for name in BODY_COLUMNS if name != "leg_angle_off_deg"]
    assert few.truth[same].equals(run.truth[same])
    with pytest.raises(ValueError, match="unknown places left_hand; known: left_shank"):
        simulate_run(1, places=("left_hand",))


def test_plausible_numbers(run):
    rows = run.truth[(run.truth.push > 2) & ~run.truth.standing]
    middle = rows.median(numeric_only=True)
    assert 35 <= middle.shank_inclination_max_deg <= 60
    assert 60 <= middle.knee_flexion_max_deg <= 105
    assert 12 <= middle.knee_flexion_off_deg <= 38
    assert 250 <= middle.knee_extension_velocity_deg_s <= 900
    assert 0.92 <= middle.knee_extension_ratio <= 0.995
    assert 20 <= middle.leg_angle_off_deg <= 52
    assert 25 <= middle.trunk_lean_deg <= 55
    assert 0.02 <= middle.pelvis_lateral_range_m <= 0.5
    assert 0.01 <= middle.pelvis_vertical_range_m <= 0.2
    assert 5 <= middle.shoulder_turn_range_deg <= 60
    assert 30 <= middle.arm_swing_range_deg <= 140
    assert rows[["shoulder_push_lag_s", "arm_push_lag_s"]].abs().median().max() < 0.2
    assert (rows.glide_before_extension_s < rows.contact_time_s + 1e-3).all()
    assert rows[list(BODY_COLUMNS)].notna().all(axis=None)


def test_measured_lengths_are_within_five_millimetres(run):
    build = run.worn.build
    for side in SIDES:
        assert run.body[f"{side}_thigh_m"] == pytest.approx(build.thigh_m, abs=0.005)
        assert run.body[f"{side}_shank_m"] == pytest.approx(build.shank_m, abs=0.005)
    assert run.body["height_m"] == pytest.approx(build.height_m, abs=0.005)


def test_truth_of_one_push_from_the_segments(run):
    """Recomputed from what is handed out: segments at 400 Hz on the clock of the left skate."""
    row = run.truth.iloc[8]
    side, out = row.side, OUT[row.side]
    shank, thigh, skate = (run.segments[f"{side}_{part}"] for part in ("shank", "thigh", "skate"))
    contact = (shank.time_s >= row.blade_on_s - 1e-4) & (shank.time_s <= row.blade_off_s + 1e-4)
    lower, upper = (Rotation.from_matrix(s.lane_from_segment[contact]) for s in (shank, thigh))
    knee = (upper.inv() * lower).as_euler("YXZ", degrees=True)[:, 0]
    assert row.knee_flexion_max_deg == pytest.approx(knee.max(), abs=0.3)
    assert row.knee_flexion_off_deg == pytest.approx(knee[-1], abs=3)
    tips = np.degrees(np.arcsin(-lower.as_matrix()[:, 2, 0]))
    assert row.shank_inclination_max_deg == pytest.approx(tips.max(), abs=0.3)
    foot = Rotation.from_matrix(skate.lane_from_segment[contact])
    ankle = (foot.inv() * lower).as_euler("YXZ", degrees=True)[:, 0]
    assert row.shank_to_skate_angle_max_deg == pytest.approx(ankle.max(), abs=0.3)
    build = run.worn.build
    leg = build.shank_m * lower.as_matrix()[:, :, 2] + build.thigh_m * upper.as_matrix()[:, :, 2]
    assert row.leg_angle_off_deg == pytest.approx(
        np.degrees(np.arctan2(-out * leg[-1, 1], leg[-1, 2])), abs=1
    )
    assert row.hip_ahead_of_ankle_m == pytest.approx(leg[tips >= tips.max() - 3, 0].mean(), abs=5e-3)
    assert row.foot_to_hip_lateral_m == pytest.approx(-out * leg[0, 1], abs=0.01)
    later = run.truth[(run.truth.side == side) & (run.truth.blade_on_s > row.blade_on_s)].iloc[0]
    head = run.segments["head"]
    stride = (head.time_s >= row.blade_on_s) & (head.time_s <= later.blade_on_s)
    y = head.position_m[stride, 1]
    bare = y - np.linspace(y[0], y[-1], len(y))
    assert row.head_lateral_range_m == pytest.approx(bare.max() - bare.min(), abs=3e-3)
    at_s = row.blade_on_s + row.glide_before_extension_s
    around = np.abs(head.time_s - at_s) <= row.stride_time_s / 2
    shift = out * (np.interp(at_s, head.time_s, head.position_m[:, 1]) - head.position_m[around, 1].mean())
    assert row.head_shift_lateral_m == pytest.approx(shift, abs=2e-3)
    trunk = run.segments["trunk"]
    facing = out * np.unwrap(np.arctan2(trunk.lane_from_segment[:, 1, 0], trunk.lane_from_segment[:, 0, 0]))
    peaks = trunk.time_s[1:-1][(facing[1:-1] > facing[:-2]) & (facing[1:-1] > facing[2:])]
    lag = peaks - row.blade_off_s
    assert row.shoulder_push_lag_s == pytest.approx(lag[np.argmin(np.abs(lag))], abs=4e-3)


def hand_made(n):
    """Make a left contact from 0.5 to 1.5 s in a stride of 2 s on paper; see the test."""
    t = np.arange(n) / GRID_HZ
    still = np.tile(np.eye(3), (n, 1, 1))
    u = np.clip((t - 1.0) / 0.5, 0.0, 1.0)
    knee = np.radians(90.0 - 60.0 * u)
    shank = np.radians(45.0) * np.ones(n)
    turns = {
        "left_shank": about(1, shank), "left_thigh": about(1, shank - knee), "left_skate": about(1, np.full(n, 0.1)),
        "trunk": about(2, np.radians(10.0) * np.cos(np.pi * (t - 1.6))) @ about(1, np.full(n, 0.5)),
        "pelvis": still, "left_wrist": still,
        # Forearm of the other side in a plane 30 degrees across, 40 degrees either way, foremost at 1.45 s.
        "right_wrist": about(2, np.full(n, np.radians(30.0))) @ about(1, -np.radians(40.0) * np.cos(np.pi * (t - 1.45))),
    }  # fmt: skip
    zero = np.zeros((n, 3))
    wave = np.column_stack([5.0 * t, 0.1 * np.sin(np.pi * (t - 0.5)) + 0.3 * t, zero[:, 0]])
    places = {"pelvis": wave, "head": wave + np.array([0.0, 0.2, 0.0]), "left_skate": zero}
    legs = {"left": 0.4 * turns["left_thigh"][:, :, 2] + 0.5 * turns["left_shank"][:, :, 2]}
    return turns, places, legs


def test_truth_of_a_push_worked_out_on_paper(run):
    n = int(4.0 * GRID_HZ)
    turns, places, legs = hand_made(n)
    turns["left_wrist"] = turns["right_wrist"]
    build = type(run.worn.build)(1.8, 0.4, 0.5, 0.09, (0.0, 0.0, 0.15))
    yaws = {k: np.arctan2(turns[k][:, 1, 0], turns[k][:, 0, 0]) for k in ("trunk", "pelvis")}
    seen = Seen(turns, places, legs, yaws, build, ("left_thigh",))
    last = (Stance("right", 1, 1.0, np.inf), Stance("left", 2, 2.5, np.inf))
    stances = (Stance("left", 0, 0.5, 1.5), *last)
    plan = Plan(stances, (0.0,) * 4, (0.0, 0.2), 0.2, 3.5, (4.0, 4.0), 4.0, (0.0, 4.0), (), -1)
    row = body_truth(seen, plan, 1.0).iloc[0]
    assert row.shank_inclination_on_deg == pytest.approx(45.0)
    assert row.shank_to_skate_angle_max_deg == pytest.approx(45.0 - np.degrees(0.1))
    assert row.knee_flexion_on_deg == pytest.approx(90.0)
    assert row.knee_flexion_off_deg == pytest.approx(30.0)
    assert row.knee_extension_velocity_deg_s == pytest.approx(120.0)
    # 84 degrees, a tenth of the way, is passed 0.05 s after the extension starts at 1.0 s.
    assert row.glide_before_extension_s == pytest.approx(0.55, abs=1e-3)
    # Triangle with sides 0.4 and 0.5 and 150 degrees between them.
    assert row.knee_extension_ratio == pytest.approx(np.sqrt(0.16 + 0.25 + 0.4 * np.cos(np.pi / 6)) / 0.9)
    assert row.leg_angle_off_deg == pytest.approx(0.0, abs=1e-9)
    # The shank stays at 45 degrees, so over the whole contact: half of it the thigh leans 45 degrees back, then it
    # turns evenly to 15 degrees forward, where the mean of its sine is (cos 45 - cos 15) / (pi / 3).
    turning = (np.cos(np.pi / 4) - np.cos(np.pi / 12)) / (np.pi / 3)
    ahead = 0.5 * np.sin(np.pi / 4) + 0.4 * 0.5 * (-np.sin(np.pi / 4) + turning)
    assert row.hip_ahead_of_ankle_m == pytest.approx(ahead, abs=1e-4)
    assert row.foot_to_hip_forward_m == pytest.approx(-0.1 * np.sin(np.pi / 4))
    assert row.foot_to_hip_lateral_m == pytest.approx(0.0, abs=1e-9)
    assert row.pelvis_lateral_range_m == pytest.approx(0.2, abs=1e-5)
    assert row.pelvis_vertical_range_m == 0.0
    # The head at 1.05 s: its wave lasts one stride, and the straight part is at its mean in the middle.
    assert row.head_shift_lateral_m == pytest.approx(0.1 * np.sin(0.55 * np.pi), abs=1e-3)
    assert row.trunk_lean_deg == pytest.approx(np.degrees(0.5))
    assert row.shoulder_turn_range_deg == pytest.approx(20.0, abs=0.5)
    assert row.shoulder_push_lag_s == pytest.approx(0.1, abs=1e-3)
    assert row.arm_swing_range_deg == pytest.approx(80.0, abs=0.1)
    assert row.arm_across_share_ratio == pytest.approx(0.25, abs=1e-6)
    assert row.arm_push_lag_s == pytest.approx(-0.05, abs=1e-3)
    assert row.arm_push_phase_deg == pytest.approx(-9.0, abs=0.2)


def test_range_and_peak_by_hand():
    assert stride_range(np.array([0.0, 3.0, 2.0])) == 2.0
    x = np.array([0.0, 1.0, 0.0, 0.0, 2.0, 0.0, 0.0, 0.0])
    assert nearest_peak(x, 3, 4) == pytest.approx(1 / GRID_HZ)
    assert np.isnan(nearest_peak(x, 6, 1))


def test_clocks_run_on_into_the_movements(run):
    for place, log in run.movements["all"].items():
        device = run.worn.devices[place] if place in run.worn.devices else run.devices[place.split("_")[0]]
        start = true_times(log, device)[0]
        assert run.plan.end_s + 60 < start < run.plan.end_s + 181
        assert log.sensor == run.logs[place].sensor or log.sensor.place == place
    starts = [
        true_times(log, run.worn.devices[place])[0]
        for place, log in run.movements["all"].items()
        if place in run.worn.devices
    ]
    assert np.ptp(starts) < 0.2


def test_the_movements_are_those_asked_for(run):
    guided = run.worn.guided
    t = np.arange(len(guided.pelvis_m)) / GRID_HZ
    knee = {side: np.degrees(flexion(leg.thigh, leg.shank)) for side, leg in guided.legs.items()}
    stand = t < guided.spans_s["stand"][1] - 0.15
    assert guided.spans_s["stand"][1] > 3.5
    for side in SIDES:
        np.testing.assert_allclose(knee[side], np.degrees(guided.flexed_rad[side]), atol=1e-6)
        for turn in (guided.legs[side].shank, guided.legs[side].thigh):
            assert np.degrees(np.arccos(turn[stand, 2, 2])).max() < 5.0
        assert np.abs(knee[side][stand]).max() < 5.0
        hang = np.degrees(np.arccos(np.clip(guided.upper.forearms[side][stand, 2, 2], -1, 1)))
        assert hang.max() < 1.0
    start, end = guided.spans_s["squats"]
    middle = 0.5 * (start + end)
    first, second = (knee["left"][(t > a) & (t < b)].max() for a, b in ((start, middle), (middle, end)))
    assert 50 < first < second < 100
    lean = np.degrees(np.arcsin(-guided.upper.trunk[:, 2, 0]))
    deepest = np.argmax(knee["left"])
    assert lean[deepest] > 25
    assert guided.pelvis_m[deepest, 0] < -0.03  # hips go back
    turned = np.degrees(np.arctan2(guided.upper.trunk[:, 1, 0], guided.upper.trunk[:, 0, 0]))
    in_turns = (t > guided.spans_s["turns"][0]) & (t < guided.spans_s["turns"][1])
    assert turned[in_turns].max() > 25
    assert turned[in_turns].min() < -25
    assert np.abs(turned[~in_turns]).max() < 3
    still = run.movements["all"]["trunk"]
    quiet = still.time_s < still.time_s[0] + 3.0
    assert np.degrees(np.nanstd(still.angular_velocity_rad_s[quiet], axis=0)).max() < 1.5


def test_the_knees_open_outward_in_the_squats(run):
    guided = run.worn.guided
    for side in SIDES:
        leg = guided.legs[side]
        k = np.argmax(flexion(leg.thigh, leg.shank))
        outward = OUT[side] * np.degrees(np.arctan2(leg.shank[k, 1, 0], leg.shank[k, 0, 0]))
        assert 3 < outward < 15


def test_wobble_turns_the_sensor_by_its_amplitude_and_leaves_the_truth():
    kwargs = {"places": ("left_thigh",), "body_shock": 0.0, **CLEAN}
    firm, soft = (simulate_run(4, "good", wobble_deg=w, **kwargs) for w in (0.0, 2.0))
    assert firm.truth.equals(soft.truth)
    a, b = (run.logs["left_thigh"] for run in (firm, soft))
    np.testing.assert_array_equal(a.time_s, b.time_s)
    still = a.time_s < firm.worn.devices["left_thigh"].own(firm.plan.quiet_s[1])
    np.testing.assert_allclose(a.angular_velocity_rad_s[still], b.angular_velocity_rad_s[still], atol=1e-3)
    extra = np.degrees(np.linalg.norm((b.angular_velocity_rad_s - a.angular_velocity_rad_s)[~still], axis=1))
    # Two degrees at most at 5 Hz at most: below 63 deg/s; a good part of it is there.
    assert 10 < np.quantile(extra, 0.99) < 80


def test_a_session_folder_holds_body_and_movements(tmp_path):
    runs = [
        simulate_run(seed, "good", day=4, rate_hz=200.0, places=("pelvis", "left_shank")) for seed in (1, 2)
    ]
    write_session(runs, tmp_path)
    session = read_session(tmp_path)
    assert [s.place for s in session.sensors] == ["left_skate", "right_skate", "left_shank", "pelvis"]
    assert runs[0].body == runs[1].body
    assert runs[0].worn.build == runs[1].worn.build
    for run, simulated in zip(session.runs, runs, strict=True):
        assert set(run.files) == set(simulated.logs)
    (movement,) = session.movements
    assert set(movement.files) == set(runs[0].logs)
    assert session.body.left_thigh_m == pytest.approx(runs[0].body["left_thigh_m"], abs=5e-4)
    written = pd.read_csv(tmp_path / movement.files["pelvis"])
    np.testing.assert_allclose(written.time_s, runs[0].movements["all"]["pelvis"].time_s, atol=1e-6)


def test_rates_differ_from_place_to_place_where_asked():
    run = simulate_run(3, "good", places=("pelvis", "head"), body_rate_hz={"head": 120.0}, stamp_jitter=0.0)
    assert np.median(np.diff(run.logs["head"].time_s)) == pytest.approx(1 / 120, rel=1e-3)
    assert np.median(np.diff(run.logs["pelvis"].time_s)) == pytest.approx(1 / run.factors["rate_hz"], rel=1e-3)  # fmt: skip


def test_shocks_of_the_heels_fade_and_come_later_on_the_way_up(clean):
    shaken = simulate_run(6, "good", body=True, **CLEAN)
    size, at = {}, {}
    for place in ("left_thigh", "pelvis", "trunk", "head"):
        device = clean.worn.devices[place]
        t = true_times(device.log, device)
        more = np.linalg.norm(
            shaken.logs[place].acceleration_m_s2 - clean.logs[place].acceleration_m_s2, axis=1
        )
        near = (t > clean.plan.shocks_s[0] - 0.02) & (t < clean.plan.shocks_s[0] + 0.1)
        size[place], at[place] = more[near].max(), t[near][np.argmax(more[near])]
    assert size["left_thigh"] > size["pelvis"] > size["trunk"] > size["head"] > 0.05
    assert at["left_thigh"] <= at["pelvis"] + 2e-3
    assert at["pelvis"] < at["head"] + 1e-4
    assert 0 < at["head"] - at["left_thigh"] < 0.02


def test_the_level_frame_of_a_skate_is_level_in_the_quiet_stance(run):
    for side in SIDES:
        motion = run.motions[side]
        flat = levelled(run, side)
        np.testing.assert_allclose(flat @ flat.T, np.eye(3), atol=1e-12)
        i, j = (int(t * GRID_HZ) for t in run.plan.quiet_s)
        up = (motion.earth_from_segment[i:j] @ flat.T)[:, 2].mean(axis=0)
        assert np.degrees(np.arccos(up[2] / np.linalg.norm(up))) < 0.01
