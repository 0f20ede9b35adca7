"""Perfect signals integrate back to the motion; every error of the chain does what it is drawn for."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imustride.simulation.drawing import draw
from imustride.simulation.motion import move
from imustride.simulation.sensors import ideal, nominal_axes, own_time, perfect, record

GRID_HZ = 4000.0
GRAVITY = np.array([0.0, 0.0, 9.80665])
ONE_G = 9.80665
PLAIN = {"mount_quaternion": (0.0, 0.0, 0.0, 1.0), "clock_offset_s": 0.0, "clock_drift_ppm": 0.0}


def strapdown(start, rate_rad_s, hz):
    """Attitudes from angular rate: the mean of neighbouring rates turns the sensor over one sample."""
    turns = Rotation.from_rotvec((rate_rad_s[1:] + rate_rad_s[:-1]) / 2 / hz)
    attitudes = [start]
    for turn in turns:
        attitudes.append(attitudes[-1] * turn)
    return Rotation.concatenate(attitudes)


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(("grade", "seed"), [("good", 2), ("real_ice", 5)])
def test_perfect_signals_integrate_back_to_attitude_and_path(grade, seed, side):
    calm = {"chatter_m_s": 0.0, "landing_speed_m_s": 0.1, "slap": False, "boot_flex_deg": 0.0}
    drawn = draw(seed, grade, 0, calm)
    motion, device = move(drawn), perfect(drawn.devices[side])
    foot = motion.feet[side]
    force, rate = ideal(device, side, foot.attitude, foot.path.place_m, np.nan)
    first, last = int((motion.plan.stance_s[1]) * GRID_HZ), int((motion.plan.push_end_s) * GRID_HZ)
    angles = np.column_stack([foot.attitude.yaw, foot.attitude.pitch, foot.attitude.roll])
    true = Rotation.from_euler("ZYX", angles[first : last + 1])
    found = strapdown(true[0], rate[first : last + 1], GRID_HZ)
    assert np.degrees((found.inv() * true).magnitude().max()) < 0.02
    sensor_place = foot.path.place_m[first : last + 1] + true.apply(device.position_m)
    acceleration = found.apply(force[first : last + 1]) - GRAVITY
    velocity = (sensor_place[1] - sensor_place[0]) * GRID_HZ + np.cumsum(acceleration[1:], axis=0) / GRID_HZ
    way = np.cumsum(velocity, axis=0) / GRID_HZ
    np.testing.assert_allclose(way, sensor_place[1:] - sensor_place[0], atol=0.03)


def test_boot_flex_turns_the_sensor_with_the_load():
    drawn = draw(3, "good", 0, {"boot_flex_deg": 3.0, "flex_axis": (1.0, 0.0, 0.0)})
    motion, foot = (moved := move(drawn)), moved.feet["left"]
    stiff = replace(drawn.devices["left"], boot_flex_deg=0.0)
    _, bent = ideal(drawn.devices["left"], "left", foot.attitude, foot.path.place_m, np.nan)
    _, rigid = ideal(stiff, "left", foot.attitude, foot.path.place_m, np.nan)
    turn_deg = np.degrees(np.cumsum(bent[:, 0] - rigid[:, 0]) / GRID_HZ)
    quiet = int(motion.plan.stance_s[1] * GRID_HZ)
    step = foot.steps[-3]
    swing = int((step.contact.off_s + 0.05) * GRID_HZ)
    assert turn_deg[quiet] == pytest.approx(0.0, abs=0.01)
    assert turn_deg[swing] == pytest.approx(-1.5, abs=0.05)  # no load: half a body weight less than standing


def at_rest(samples=40000):
    """Grid signals of a sensor lying still and turning slowly about x."""
    force, rate = np.tile(GRAVITY, (samples, 1)), np.tile([0.1, 0.0, 0.0], (samples, 1))
    return force, rate


def recorded(changes, force, rate, seed=0):
    device = replace(perfect(draw(1, "good").devices["left"]), **(PLAIN | {"rate_hz": 500.0} | changes))
    return record(device, "left", force, rate, (0.5, 9.5), (2.0, 8.0), np.random.default_rng(seed))


def test_own_clock_runs_fast_by_its_drift_from_its_offset():
    device = replace(draw(1, "good").devices["left"], clock_offset_s=-12.0, clock_drift_ppm=50.0)
    assert own_time(device, 20.0) == pytest.approx(20.0 + 0.001 - 12.0)
    log = recorded({"clock_offset_s": -12.0, "clock_drift_ppm": 50.0}, *at_rest()).log
    assert log.time_s[0] == pytest.approx(0.5 * 1.00005 - 12.0, abs=1e-6)
    assert np.diff(log.time_s).mean() == pytest.approx(1 / 500, rel=1e-6)


def test_samples_are_taken_at_the_true_time_of_their_own_stamp():
    force, rate = at_rest()
    rate[:, 1] = 2.0 * np.arange(len(rate)) / GRID_HZ  # 2 rad/s each true second
    log = recorded({"clock_offset_s": 7.0, "clock_drift_ppm": -60.0}, force, rate).log
    true_s = (log.time_s - 7.0) / (1 - 60e-6)
    np.testing.assert_allclose(log.angular_velocity_rad_s[:, 1], 2 * true_s, atol=0.0006)  # half a count


def test_mount_turns_segment_into_sensor_axes_and_names_the_nearest():
    # The sensor's x axis points left, its y axis backward, its z axis up.
    quaternion = tuple(Rotation.from_euler("z", 90, degrees=True).as_quat())
    log = recorded({"mount_quaternion": quaternion, "axes_declared": True}, *at_rest()).log
    np.testing.assert_allclose(log.angular_velocity_rad_s[100], [0.0, -0.1, 0.0], atol=0.0006)
    assert log.sensor.axes == ("-y", "+x", "+z")
    tilted = (Rotation.from_euler("xyz", [8, -9, 100], degrees=True)).as_matrix()
    assert nominal_axes(tilted) == ("-y", "+x", "+z")


def test_bias_scale_and_noise():
    changes = {
        "acceleration_bias_m_s2": (0.2, 0.0, -0.1),
        "acceleration_scale_ratio": (0.0, 0.0, 0.01),
        "acceleration_noise_m_s2": 0.05,
        "gyro_bias_deg_s": (1.0, -2.0, 0.0),
    }
    log = recorded(changes, *at_rest()).log
    np.testing.assert_allclose(
        log.acceleration_m_s2.mean(axis=0), [0.2, 0.0, 9.80665 * 1.01 - 0.1], atol=0.004
    )
    np.testing.assert_allclose(log.acceleration_m_s2.std(axis=0), 0.05, rtol=0.08)
    expected = [0.1 + np.radians(1), np.radians(-2), 0]
    np.testing.assert_allclose(log.angular_velocity_rad_s.mean(axis=0), expected, atol=0.0006)


def test_values_are_whole_counts_and_end_at_the_range():
    force, rate = at_rest()
    force[20000:20400, 2] = 30 * ONE_G
    logged = recorded({"acceleration_range_g": 16.0}, force, rate)
    count = 16 * ONE_G / 32768
    counts = logged.log.acceleration_m_s2 / count
    np.testing.assert_allclose(counts, np.round(counts), atol=1e-6)
    assert logged.log.acceleration_m_s2.max() == pytest.approx(16 * ONE_G - count)
    (from_s, to_s), *others = logged.spoilt_s
    assert (from_s, to_s) == (pytest.approx(5.0, abs=0.003), pytest.approx(5.1, abs=0.003))
    assert not others


@pytest.mark.parametrize(("order", "factor"), [(1, 1.0), (2, np.sqrt(2))])
def test_low_pass_delays_as_declared_and_halves_power_at_its_cut(order, factor):
    force, rate = at_rest()
    time_s = np.arange(len(rate)) / GRID_HZ
    rate[:, 1] = 3.0 * np.sin(2 * np.pi * 100.0 * time_s)
    rate[:, 2] = time_s
    changes = {"low_pass_ratio": 0.2, "low_pass_order": order, "low_pass_declared": True, "delay_s": 0.002}
    log = recorded(changes, force, rate).log
    assert log.angular_velocity_rad_s[500:, 1].std() == pytest.approx(3 / 2, rel=0.01)
    delay_s = (log.time_s - log.angular_velocity_rad_s[:, 2])[500:].mean()
    assert delay_s == pytest.approx(factor / (2 * np.pi * 100) + 0.002, abs=0.0002)
    assert log.sensor.bandwidth_hz == pytest.approx(100.0)
    assert log.sensor.delay_ms == pytest.approx(1000 * delay_s, abs=0.2)


@pytest.mark.parametrize("as_nan", [False, True])
def test_gaps_lose_samples_in_the_motion_only(as_nan):
    logged = recorded({"gaps": 2, "gap_as_nan": as_nan}, *at_rest())
    log = logged.log
    assert 1 <= len(logged.spoilt_s) <= 2
    assert all(2.0 <= first <= last <= 8.2 for first, last in logged.spoilt_s)
    if as_nan:
        assert np.isnan(log.acceleration_m_s2).any(axis=1).sum() >= 3
        assert len(log.time_s) == 4500
    else:
        assert np.diff(log.time_s).max() >= 4 / 500 - 1e-6
        assert np.isfinite(log.acceleration_m_s2).all()


def test_holder_rings_at_its_resonance_and_passes_gravity():
    force, rate = at_rest()
    force[20000:, 1] += 10.0
    log = recorded({"bracket_hz": 80.0, "bracket_damping_ratio": 0.05, "rate_hz": 1000.0}, force, rate).log
    after = log.acceleration_m_s2[(log.time_s > 5.0) & (log.time_s < 5.2), 1]
    assert after.max() > 17.0  # a light step response nearly doubles
    crossings = np.flatnonzero(np.diff(np.sign(after - 10.0)))
    assert 1000 / (2 * np.diff(crossings).mean()) == pytest.approx(80.0, rel=0.02)
    np.testing.assert_allclose(log.acceleration_m_s2[100], GRAVITY, atol=0.01)
