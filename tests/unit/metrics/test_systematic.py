"""The systematic part, by hand; each expected value is the propagation of independent errors of two feet."""

import numpy as np
import pytest

from imustride.metrics.systematic import FootError, Known, SystematicSettings, systematic_parts

SETTINGS = SystematicSettings(
    blade_on_sd_s=Known(0.003, 0.006),
    blade_off_sd_s=Known(0.004, 0.008),
    contact_time_sd_s=Known(0.006, 0.012),
    gyro_scale_sd=Known(0.003, 0.01),
    edge_sd_deg=Known(0.3, 0.4),
    track_sd_deg=Known(0.5, 1.0),
    blade_speed_sd_m_s=Known(0.03, 0.04),
    stride_length_sd_m=Known(0.02, 0.03),
    lateral_travel_sd_m=Known(0.01, 0.02),
    roll_to_pitch=0.5,
    pitch_at_edge_rad=0.2,
    contact_way_m=2.0,
)


def parts(calibrated=(True, True), forward=(0.0, 0.0), clock=(0.0,), lane=(0.0,), rates=(500.0, 500.0)):
    sensors = zip(("left", "right"), calibrated, rates, forward, strict=True)
    feet = {side: FootError(known, rate_hz, [sd]) for side, known, rate_hz, sd in sensors}
    return systematic_parts(feet, clock, lane, SETTINGS)


def test_times_of_both_feet_err_independently():
    assert parts()["contact_time_s"].difference_sd == pytest.approx(0.006 * np.sqrt(2))
    assert parts()["double_support_s"].difference_sd == pytest.approx(0.005 * np.sqrt(2))
    assert parts()["stride_time_s"].difference_sd == 0


def test_a_step_has_the_detection_twice_and_the_clock_twice():
    assert parts()["step_time_s"].difference_sd == pytest.approx(2 * 0.003 * np.sqrt(2))
    joined = parts(clock=(0.004,))["step_time_s"].difference_sd
    assert joined == pytest.approx(2 * np.hypot(0.003 * np.sqrt(2), 0.004))


def test_every_run_is_joined_anew():
    alone, four = (parts(clock=(0.004,) * runs)["double_support_s"].difference_sd for runs in (1, 4))
    assert alone**2 - 2 * 0.005**2 == pytest.approx((2 * 0.004) ** 2)
    assert four**2 - 2 * 0.005**2 == pytest.approx((2 * 0.002) ** 2)


@pytest.mark.parametrize(
    ("calibrated", "percent"),
    [((True, True), 0.3 * np.sqrt(2)), ((False, False), np.sqrt(2)), ((True, False), np.hypot(0.3, 1.0))],
)
def test_the_state_of_each_sensor_decides(calibrated, percent):
    assert parts(calibrated)["push_off_angular_velocity_deg_s"].index_sd_percent == pytest.approx(percent)


def test_a_slow_sensor_tells_less_of_an_instant():
    assert parts(rates=(500.0, 100.0))["contact_time_s"].difference_sd == pytest.approx(
        np.hypot(0.006, 0.012)
    )


def test_a_wrong_forward_axis_mixes_roll_into_pitch():
    rate = parts(forward=(0.02, 0.0))["push_off_angular_velocity_deg_s"].index_sd_percent
    assert rate == pytest.approx(100 * np.sqrt(2 * 0.003**2 + (0.5 * 0.02) ** 2))
    edge = parts(forward=(0.02, 0.0))["edge_angle_deg"].difference_sd
    assert edge == pytest.approx(np.sqrt(2 * 0.3**2 + np.degrees(0.2 * 0.02) ** 2))


def test_the_lane_adds_to_one_foot_what_it_takes_from_the_other():
    lane = parts(lane=(0.01, 0.01))
    own = np.array([0.5 * np.sqrt(2), 0.01 * np.sqrt(2)])
    shared = np.array([np.degrees(0.02), 0.04])
    found = [lane[name].difference_sd for name in ("track_angle_deg", "lateral_travel_m")]
    assert found == pytest.approx(np.hypot(own, shared))


def test_speed_and_length_err_by_foot():
    assert parts((True, False))["blade_speed_m_s"].difference_sd == pytest.approx(0.05)
    assert parts()["stride_length_m"].difference_sd == pytest.approx(0.02 * np.sqrt(2))


def test_nothing_usable_states_no_nonsense():
    empty = systematic_parts(dict.fromkeys(("left", "right"), FootError(False, 500.0, [])), [], [], SETTINGS)
    assert empty["step_time_s"].difference_sd == pytest.approx(2 * 0.003 * np.sqrt(2))
