"""The second generator against physics: what it logs integrates back to its motion, blades keep to the ice."""

import itertools

import numpy as np
import pandas as pd
import pytest
from scipy.integrate import cumulative_trapezoid
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation

from imustride.loaders import load
from imustride.session import read_session
from tests.generators.blade import Blade
from tests.generators.folders import write_session
from tests.generators.ice import GRAVITY_M_S2, rigid_feel
from tests.generators.second import SIDES, simulate_run
from tests.generators.shapes import GRID_HZ
from tests.generators.truth import COLUMNS, lane, level_y

GRAVITY = np.array([0.0, 0.0, GRAVITY_M_S2])
SEEDS = [(3, "good"), (8, "poor"), (5, "real_ice"), (21, "real_ice")]
CLEAN = {
    "vibration_m_s2": 0.0, "ring_down_m_s2": 0.0, "landing_ring_1_s": 0.0, "swing_rattle_m_s2": 0.0,
    "chatter_m_s2": 0.0, "flex_deg": 0.0, "resonance_hz": 0.0, "acc_bias_m_s2": 0.0, "gyro_bias_deg_s": 0.0,
    "acc_scale": 0.0, "gyro_scale": 0.0, "misalignment_deg": 0.0, "acc_noise": 0.0, "gyro_noise_deg": 0.0,
    "g_sensitivity_deg_s": 0.0, "warming_deg_s": 0.0, "stamp_jitter": 0.0, "lowpass": "none", "rate_hz": 1000.0,
    "acc_range_g": 30.0, "gyro_range_deg_s": 3000.0,
    "landing_m_s": 0.2, "landing_s": 0.01, "log_cut": "none", "shock_ring_m_s2": 0.0, "stumble": False,
}  # fmt: skip


@pytest.fixture(scope="module", params=SEEDS, ids=[f"{g}-{s}" for s, g in SEEDS])
def run(request):
    return simulate_run(*request.param)


def grid_s(motion):
    return np.arange(len(motion.lift_m)) / GRID_HZ


def in_contact(run, side, margin_s=0.0):
    t = grid_s(run.motions[side])
    touching = np.zeros(len(t), dtype=bool)
    for c in run.plan.of_side(side):
        touching |= (t >= c.on_s + margin_s) & (t <= c.off_s)
    for start, end in run.plan.shuffles_s:
        touching &= (t < start) | (t > end + 0.1)
    return touching


@pytest.mark.parametrize("side", SIDES)
def test_angular_velocity_is_the_rate_of_the_attitude(run, side):
    motion = run.motions[side]
    turn = Rotation.from_matrix(motion.earth_from_segment)
    step = (turn[:-2].inv() * turn[2:]).as_rotvec() * GRID_HZ / 2
    # The rotation over two grid steps misses the rate between by its curvature: 1e-3 of 15 rad/s.
    assert np.abs(step - motion.rate_rad_s[1:-1]).max() < 0.015


@pytest.mark.parametrize("side", SIDES)
def test_a_clean_log_integrates_back_to_the_motion(side):
    run = simulate_run(6, "real_ice", gaps=0, shuffle=False, **CLEAN)
    device, motion = run.devices[side], run.motions[side]
    log, unit = device.log, run.units[side]
    assert len(device.spoiled_s) == 0
    true_s = (log.time_s - device.offset_s) / (1 + device.drift) - run.factors["delay_s"]
    span = (true_s > run.plan.quiet_s[0]) & (true_s < run.plan.brake_s[1])
    true_s = true_s[span]
    rate, force = log.angular_velocity_rad_s[span], log.acceleration_m_s2[span]
    t = grid_s(motion)
    matrix = CubicSpline(t, motion.earth_from_segment)(true_s)
    turn = Rotation.from_matrix(matrix @ unit.segment_from_sensor)
    step = np.diff(true_s)[:, None] * (rate[1:] + rate[:-1]) / 2
    found = [turn[0]]
    for rotation in Rotation.from_rotvec(step):
        found.append(found[-1] * rotation)
    attitude = Rotation.concatenate(found)
    assert np.degrees((turn[-1].inv() * attitude[-1]).magnitude()) < 0.3
    lever = motion.earth_from_segment @ unit.lever_m
    velocity = CubicSpline(t, motion.place_m + lever).derivative()(true_s)
    # Forces turned by the true attitude, so that tilt does not grow into metres.
    push = turn.apply(force) - GRAVITY
    gained = cumulative_trapezoid(push, true_s, axis=0, initial=0)
    drift = gained - (velocity - velocity[0])
    assert np.linalg.norm(velocity, axis=1).max() > 4
    assert np.abs(drift).max() < 0.05


@pytest.mark.parametrize("side", SIDES)
def test_velocity_and_acceleration_are_derivatives_of_the_place(run, side):
    motion = run.motions[side]
    assert np.abs(np.gradient(motion.place_m, 1 / GRID_HZ, axis=0) - motion.velocity_m_s)[2:-2].max() < 5e-3
    gained = cumulative_trapezoid(motion.acceleration_m_s2, dx=1 / GRID_HZ, axis=0, initial=0)
    assert np.abs(gained - motion.velocity_m_s + motion.velocity_m_s[0]).max() < 5e-3


@pytest.mark.parametrize("side", SIDES)
def test_motion_is_smooth_down_to_the_acceleration(run, side):
    # A jump of velocity between grid points would show as an acceleration of thousands of m/s^2.
    motion = run.motions[side]
    assert np.linalg.norm(motion.acceleration_m_s2, axis=1).max() < 700
    assert np.abs(np.diff(motion.acceleration_m_s2, axis=0)).max() < 80


@pytest.mark.parametrize("side", SIDES)
def test_lowest_point_of_the_blade_is_on_the_ice_in_contact_and_above_it_in_swing(run, side):
    motion = run.motions[side]
    half, radius = run.factors["half_blade_m"], run.factors["rocker_m"]
    slopes = np.linspace(-1.2, 1.2, 4001)
    x, z = Blade(radius, half).lowest(slopes, np.zeros_like(slopes))
    edge = np.column_stack([x, np.zeros_like(x), z])
    touching = in_contact(run, side)
    for k in np.flatnonzero(touching)[::997]:
        lowest = motion.place_m[k, 2] + (edge @ motion.earth_from_segment[k, 2]).min()
        assert lowest == pytest.approx(motion.lift_m[k], abs=2e-5)
    settled = in_contact(run, side, margin_s=10 * 2.5 * run.factors["landing_s"])
    assert np.abs(motion.lift_m[settled]).max() < 1e-9
    assert motion.lift_m[touching].min() > -0.008  # given way on landing
    t = grid_s(motion)
    own = run.plan.of_side(side)
    for before, after in itertools.pairwise(own):
        swing = motion.lift_m[(t > before.off_s) & (t < after.on_s)]
        assert swing.min() > -1e-6
        quarter = len(swing) // 4
        assert swing[quarter:-quarter].min() > 0.005
        assert swing.max() < 0.35


@pytest.mark.parametrize("side", SIDES)
def test_touching_point_runs_along_y_segment_cross_z_earth(run, side):
    motion = run.motions[side]
    t = grid_s(motion)
    last_on = max(c.on_s for c in run.plan.stances)
    pushing = in_contact(run, side, 0.2) & (t < last_on) & (t > run.plan.start_s)
    point = np.column_stack([motion.edge_point_m[:, 0], np.zeros(len(t)), motion.edge_point_m[:, 1]])
    swept = np.cross(motion.rate_rad_s, point)
    touch = motion.velocity_m_s + np.einsum("nij,nj->ni", motion.earth_from_segment, swept)
    running = np.cross(motion.earth_from_segment[:, :, 1], [0.0, 0.0, 1.0])
    running /= np.linalg.norm(running, axis=1)[:, None]
    across = np.cross([0.0, 0.0, 1.0], running)
    slip = np.sum(touch * across, axis=1)[pushing]
    assert np.abs(slip).max() <= run.factors["skid_m_s"] + run.factors["landing_scuff_m_s"] + 1e-6
    assert np.sum(touch * running, axis=1)[pushing].min() > -0.1
    assert np.abs(touch[in_contact(run, side, 0.3), 2]).max() < 2e-3


def test_felt_force_of_a_turned_sensor_is_the_second_derivative_of_its_place():
    run = simulate_run(4, "good", **CLEAN)
    motion = run.motions["left"]
    lever, axis = np.array([0.02, 0.03, 0.12]), np.array([0.6, 0.8, 0.0])
    t = grid_s(motion)
    flex = 0.04 * np.sin(2 * np.pi * 3.0 * t)
    force, _ = rigid_feel(motion, lever, axis, flex)
    turn = Rotation.from_matrix(motion.earth_from_segment) * Rotation.from_rotvec(flex[:, None] * axis)
    place = motion.place_m + turn.apply(lever)
    second = (place[2:] - 2 * place[1:-1] + place[:-2]) * GRID_HZ**2
    wanted = turn[1:-1].inv().apply(second + GRAVITY)
    assert np.abs(force[1:-1] - wanted)[5:-5].max() < 1.0  # of up to 200 m/s^2
    assert np.sqrt(np.mean((force[1:-1] - wanted)[5:-5] ** 2)) < 0.02


def test_feet_stay_within_reach_and_push_outward(run):
    t = grid_s(run.motions["left"])
    moving = (t > run.plan.start_s) & (t < run.plan.pushes_end_s)
    apart = run.motions["left"].place_m - run.motions["right"].place_m
    assert np.linalg.norm(apart[moving], axis=1).max() < 2.4
    ahead = lane(run.plan, run.motions)
    across = np.array([-ahead[1], ahead[0]])
    assert np.mean(apart[moving, :2] @ across) > 0.2  # left foot on the left
    later = run.truth[(run.truth.push > 1) & ~run.truth.standing]
    assert (later.edge_angle_deg > 5).all()
    assert later.track_angle_deg.median() > 4


def test_left_inside_edge_tips_the_left_axis_up(run):
    for side, sign in (("left", 1.0), ("right", -1.0)):
        motion = run.motions[side]
        for c in run.plan.of_side(side)[:-1]:
            k = int((c.off_s - 0.01) * GRID_HZ)
            assert sign * motion.earth_from_segment[k, 2, 1] > 0.0


def test_heel_rises_toe_down_about_the_blade_off(run):
    for side in SIDES:
        motion = run.motions[side]
        for c in run.plan.of_side(side)[:-1]:
            after = motion.earth_from_segment[int((c.off_s + 0.03) * GRID_HZ), 2, 0]
            before = motion.earth_from_segment[int((c.off_s - 0.13) * GRID_HZ), 2, 0]
            assert after < before  # toe points further down


def test_truth_columns_follow_their_definitions(run):
    truth = run.truth
    assert list(truth.columns) == list(COLUMNS)
    assert truth.blade_off_s.is_monotonic_increasing
    assert list(truth.first_lift) == [True] + [False] * (len(truth) - 1)
    assert list(truth.standing) == [True, True] + [False] * (len(truth) - 2)
    assert len(truth) == run.factors["pushes"] + 1
    assert truth.blade_on_s[:2].isna().all()
    for _, rows in truth.groupby("side"):
        first = 0 if rows.first_lift.iloc[0] else 1
        assert list(rows.push) == list(range(first, first + len(rows)))
    rows = truth[~truth.standing]
    np.testing.assert_allclose(rows.contact_time_s, rows.blade_off_s - rows.blade_on_s, atol=1e-9)
    for _, one in rows.groupby("side"):
        np.testing.assert_allclose(one.stride_time_s[:-1], np.diff(one.blade_on_s), atol=1e-9)
    left = truth[truth.side == "left"]
    np.testing.assert_array_equal(left.blade_off_own_s, left.blade_off_s)
    assert truth.stride_width_m[:-1].notna().all()
    assert np.isnan(truth.stride_width_m.iloc[-1])


def test_truth_values_recomputed_from_the_motion(run):
    row = run.truth.iloc[6]
    motion, device = run.motions[row.side], run.devices[row.side]
    on, off = (
        round((own - device.offset_s) / (1 + device.drift) * GRID_HZ)
        for own in (row.blade_on_own_s, row.blade_off_own_s)
    )
    level = level_y(motion, run.plan)
    assert abs(np.degrees(np.arcsin(level[0]))) < 1e-6
    edge = np.degrees(np.arcsin(motion.earth_from_segment[on:off, 2] @ level)) * (
        1 if row.side == "left" else -1
    )
    assert row.edge_angle_deg == pytest.approx(edge.max(), abs=0.01)
    rate = np.degrees(motion.rate_rad_s @ level)[off - 600 : off + 401]
    assert row.push_off_angular_velocity_deg_s == pytest.approx(rate.max(), rel=1e-3)
    speed = np.linalg.norm(motion.velocity_m_s[on:off, :2], axis=1).mean()
    assert row.blade_speed_m_s == pytest.approx(speed, rel=1e-3)


def test_clocks_carry_one_event_to_both_logs(run):
    truth, left = run.truth, run.devices["left"]
    for _, row in truth.iterrows():
        own = run.devices[row.side]
        true_s = (row.blade_off_own_s - own.offset_s) / (1 + own.drift)
        assert row.blade_off_s == pytest.approx(left.own(true_s), abs=1e-9)
        assert own.log.time_s[0] < row.blade_off_own_s < own.log.time_s[-1]
        assert abs(own.drift) <= 60e-6


def test_quiet_stance_is_quiet_and_shows_gravity(run):
    for side, device in run.devices.items():
        log = device.log
        quiet = (log.time_s > device.own(run.plan.quiet_s[0] + 0.2)) & (
            log.time_s < device.own(run.plan.quiet_s[1] - 0.1)
        )
        level = np.nanmean(np.linalg.norm(log.acceleration_m_s2[quiet], axis=1))
        assert level == pytest.approx(GRAVITY_M_S2, rel=0.09)
        rate = log.angular_velocity_rad_s[quiet]
        assert np.degrees(np.nanstd(rate, axis=0)).max() < 3.0
        speed = run.motions[side].velocity_m_s[
            int(run.plan.quiet_s[0] * GRID_HZ) : int(run.plan.start_s * GRID_HZ)
        ]
        assert np.abs(speed).max() < 0.12


def test_equal_seeds_give_equal_runs_and_others_differ():
    one, two, other = simulate_run(11, "real_ice"), simulate_run(11, "real_ice"), simulate_run(12, "real_ice")
    for place, log in one.logs.items():
        np.testing.assert_array_equal(log.acceleration_m_s2, two.logs[place].acceleration_m_s2)
        np.testing.assert_array_equal(log.time_s, two.logs[place].time_s)
    assert one.truth.equals(two.truth)
    assert one.factors == two.factors
    assert not one.truth.equals(other.truth)


def test_an_override_leaves_the_motion_alone():
    plain, silent = (
        simulate_run(13, "real_ice"),
        simulate_run(13, "real_ice", vibration_m_s2=0.0, acc_noise=0.0),
    )
    np.testing.assert_array_equal(plain.motions["left"].place_m, silent.motions["left"].place_m)
    assert silent.factors["vibration_m_s2"] == 0.0
    with pytest.raises(ValueError, match="unknown factors vibrations"):
        simulate_run(13, vibrations=1.0)
    with pytest.raises(ValueError, match="grade 'bad' is not one of"):
        simulate_run(13, "bad")


def test_runs_of_one_day_share_skater_and_sensors():
    one, two = simulate_run(1, "poor", day=9), simulate_run(2, "poor", day=9)
    assert one.logs["left_skate"].sensor == two.logs["left_skate"].sensor
    np.testing.assert_array_equal(one.units["right"].gyro_matrix, two.units["right"].gyro_matrix)
    assert one.factors["edge_peak_deg"] == two.factors["edge_peak_deg"]
    assert not one.truth.blade_off_own_s.equals(two.truth.blade_off_own_s)


def test_declared_axes_are_the_nearest_to_the_true_mounting():
    seen = 0
    for seed in range(8):
        run = simulate_run(seed, "good")
        for side in SIDES:
            axes = run.logs[f"{side}_skate"].sensor.axes
            if axes is not None:
                nominal = np.zeros((3, 3))
                for row, name in enumerate(axes):
                    nominal[row, "xyz".index(name[1])] = 1.0 if name[0] == "+" else -1.0
                off = Rotation.from_matrix(run.units[side].segment_from_sensor @ nominal.T)
                assert np.degrees(off.magnitude()) == pytest.approx(
                    run.factors["mounting_error_deg"], abs=1e-6
                )
                seen += 1
    assert seen >= 4


def test_gaps_and_clipping_mark_the_pushes_they_touch():
    kwargs = {"gaps": 40, "gap_kind": "nan", "log_cut": "none", "stamp_jitter": 0.0}
    run = simulate_run(2, "real_ice", **kwargs)
    for _, row in run.truth.iterrows():
        device = run.devices[row.side]
        log = device.log
        start = row.blade_on_own_s if not row.standing else device.own(run.plan.start_s)
        lost = np.isnan(log.acceleration_m_s2[(log.time_s > start) & (log.time_s < row.blade_off_own_s)])
        assert row.near_gap or not lost.any()
    assert run.truth.near_gap.any()
    rows = simulate_run(2, "real_ice", **kwargs | {"gap_kind": "missing_rows"}).logs["left_skate"]
    assert np.diff(rows.time_s).max() > 1.5 / run.factors["rate_hz"]


def test_vibration_grows_with_speed_and_stops_with_the_contact():
    run = simulate_run(7, "good", **CLEAN | {"vibration_m_s2": 6.0})
    still = simulate_run(7, "good", **CLEAN)
    early, late, swing = [], [], []
    for side in SIDES:
        added = (run.devices[side].log.acceleration_m_s2 - still.devices[side].log.acceleration_m_s2).std(
            axis=1
        )
        t = (run.devices[side].log.time_s - run.devices[side].offset_s) / (1 + run.devices[side].drift)
        for c, after in zip(run.plan.of_side(side)[1:-1], run.plan.of_side(side)[2:], strict=True):
            inside = (t > c.on_s + 0.05) & (t < c.off_s - 0.05)
            (early if c.order < 4 else late).append(added[inside].mean())
            swing.append(added[(t > c.off_s + 0.06) & (t < after.on_s - 0.01)].mean())
    assert np.mean(late) > 1.2 * np.mean(early)
    assert max(swing) < 0.05 * np.mean(late)


def test_a_session_folder_reads_back_as_the_logs(tmp_path):
    runs = [simulate_run(seed, "good", day=4, rate_hz=200.0) for seed in (1, 2)]
    write_session(runs, tmp_path)
    session = read_session(tmp_path)
    assert [run.name for run in session.runs] == ["run-1", "run-2"]
    for run, simulated in zip(session.runs, runs, strict=True):
        for place, log in simulated.logs.items():
            found = load(session, run, place)
            assert found.sensor.axes == log.sensor.axes
            assert found.sensor.position_m == log.sensor.position_m
            np.testing.assert_allclose(found.time_s, log.time_s, atol=1e-6)
            np.testing.assert_allclose(found.acceleration_m_s2, log.acceleration_m_s2, atol=1e-5)
            np.testing.assert_allclose(found.angular_velocity_rad_s, log.angular_velocity_rad_s, atol=2e-6)
    truth = pd.read_csv(tmp_path / "truth.csv")
    assert len(truth) == sum(len(run.truth) for run in runs)
