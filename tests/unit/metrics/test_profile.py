"""The sprint profile and its closed forms, on numbers worked on paper."""

import numpy as np
import pytest

from imustride.metrics.profile import Profile, fit_gates, fit_speed

TIMES_S = np.arange(0.0, 5.5, 0.02)


def rising(v_max, tau, start, times=TIMES_S):
    since = np.maximum(times - start, 0.0)
    return v_max * (1 - np.exp(-since / tau))


def test_after_one_time_constant_63_percent_are_reached():
    # 1 - 1/e = 0.63212; distance 8 * 1.25 * (1 - (1 - 1/e)) = 10 / e = 3.67879.
    profile = Profile(8.0, 1.25, 2.0)
    assert profile.speed_m_s(np.array([3.25])) == pytest.approx([8.0 * 0.6321206], rel=1e-6)
    assert profile.distance_m(np.array([3.25])) == pytest.approx([3.678794], rel=1e-6)
    assert profile.initial_acceleration_m_s2 == pytest.approx(6.4)


def test_before_the_start_nothing_moves():
    profile = Profile(8.0, 1.25, 2.0)
    assert profile.speed_m_s(np.array([0.0, 2.0])).tolist() == [0.0, 0.0]
    assert profile.distance_m(np.array([0.0, 2.0])).tolist() == [0.0, 0.0]


@pytest.mark.parametrize("since_s", [1e-6, 1e-4, 0.9e-3, 1.1e-3, 0.1, 1.0, 8.0])
def test_distance_is_the_integral_of_speed(since_s):
    profile = Profile(9.0, 1.3, 0.0)
    nodes, weights = np.polynomial.legendre.leggauss(24)
    integral = since_s / 2 * weights @ profile.speed_m_s(since_s / 2 * (nodes + 1))
    assert profile.distance_m(np.array([since_s])) == pytest.approx([integral], rel=1e-9)


def test_time_and_distance_are_inverse():
    profile = Profile(9.0, 1.3, -0.4)
    metres = np.array([0.0, 1e-6, 0.01, 0.5, 5.0, 30.48, 200.0])
    np.testing.assert_allclose(profile.distance_m(profile.time_s(metres)), metres, rtol=1e-8, atol=1e-12)


def test_an_exact_speed_gives_its_profile_back():
    found = fit_speed(TIMES_S, rising(8.4, 1.2, 0.33))
    assert (found.v_max_m_s, found.tau_s, found.start_s) == pytest.approx((8.4, 1.2, 0.33), rel=1e-5)
    assert found.rms < 1e-5
    assert found.reason == ""


def test_missing_speeds_are_left_out():
    speed = rising(8.4, 1.2, 0.33)
    speed[100:120] = np.nan
    assert fit_speed(TIMES_S, speed).v_max_m_s == pytest.approx(8.4, rel=1e-5)


def test_a_wrong_scale_of_the_speed_is_carried_into_the_maximum():
    # All speeds share an error of one hundredth of themselves: so does the maximum, and tau has none of it.
    speed = rising(8.0, 1.2, 0.3)
    found = fit_speed(TIMES_S, speed, 0.01 * speed[:, None])
    assert found.v_max_sd_m_s == pytest.approx(0.08, rel=1e-3)
    assert found.tau_sd_s == pytest.approx(0.0, abs=1e-4)


def test_stated_spread_covers_what_pushes_do_to_the_speed():
    rng = np.random.default_rng(5)
    misses = []
    for _ in range(200):
        knots = np.arange(0.0, 6.0, 0.35)
        waver = np.interp(TIMES_S, knots, rng.normal(0, 0.15, len(knots)))
        found = fit_speed(TIMES_S, rising(8.4, 1.2, 0.3) + waver)
        misses.append([(found.v_max_m_s - 8.4) / found.v_max_sd_m_s, (found.tau_s - 1.2) / found.tau_sd_s])
    held = np.mean(np.abs(misses) < 1.96, axis=0)
    assert (held > 0.9).all(), held


def test_a_maximum_not_reached_is_known_badly():
    short = TIMES_S < 2.0
    speed = rising(8.4, 1.2, 0.3) + 0.1 * np.sin(2 * np.pi * TIMES_S / 0.6)
    all_of_it, beginning = fit_speed(TIMES_S, speed), fit_speed(TIMES_S[short], speed[short])
    assert beginning.v_max_sd_m_s > 4 * all_of_it.v_max_sd_m_s
    assert abs(beginning.v_max_m_s - 8.4) < 2 * beginning.v_max_sd_m_s


def test_a_speed_that_rises_evenly_has_no_maximum():
    rng = np.random.default_rng(3)
    found = fit_speed(TIMES_S, 1.4 * TIMES_S + rng.normal(0, 0.05, len(TIMES_S)))
    assert np.isnan([found.v_max_m_s, found.tau_s, found.start_s]).all()
    assert "rising" in found.reason


@pytest.mark.parametrize(
    ("times_s", "speed_m_s", "said"),
    [
        (TIMES_S[:50], rising(8.0, 1.2, 0.0)[:50], "less than 1.5 s"),
        (TIMES_S, -rising(8.0, 1.2, 0.0), "nowhere positive"),
        (TIMES_S, np.full(len(TIMES_S), np.nan), "less than 1.5 s"),
    ],
)
def test_what_cannot_be_fitted_is_said(times_s, speed_m_s, said):
    found = fit_speed(times_s, speed_m_s)
    assert np.isnan(found.v_max_m_s)
    assert said in found.reason


GATES_M = np.array([0.0, 5.0, 10.0, 20.0, 30.48])


def gate_times(v_max, tau, behind, gates=GATES_M):
    passed = Profile(v_max, tau, 0.0).time_s(behind + gates)
    return passed - passed[0], -passed[0]


@pytest.mark.parametrize("count", [4, 5])
def test_exact_gates_give_the_profile_and_the_start_back(count):
    times, start = gate_times(8.4, 1.2, 0.5)
    found = fit_gates(
        GATES_M[-count:] - GATES_M[-count], times[-count:] - times[-count], 0.5 + GATES_M[-count]
    )
    assert (found.v_max_m_s, found.tau_s) == pytest.approx((8.4, 1.2), rel=1e-5)
    assert found.start_s == pytest.approx(start - times[-count], abs=1e-5)


def test_gates_may_be_counted_from_anywhere():
    times, start = gate_times(8.4, 1.2, 0.5)
    found = fit_gates(GATES_M + 3.0, times + 11.0, 0.5)
    assert (found.v_max_m_s, found.start_s) == pytest.approx((8.4, start + 11.0), rel=1e-5)


def test_three_gates_are_too_few():
    times, _ = gate_times(8.4, 1.2, 0.5)
    found = fit_gates(GATES_M[:3], times[:3], 0.5)
    assert np.isnan([found.v_max_m_s, found.tau_s, found.v_max_sd_m_s]).all()
    assert found.reason == "3 gates, 4 are needed for a profile with a fitted start"


def test_not_knowing_the_start_line_costs_certainty():
    times, _ = gate_times(8.4, 1.2, 0.5)
    known, unknown = fit_gates(GATES_M, times, 0.5), fit_gates(GATES_M, times)
    assert unknown.tau_sd_s > 1.5 * known.tau_sd_s
    assert unknown.v_max_m_s == pytest.approx(known.v_max_m_s, rel=1e-5)


def test_stated_spread_of_gates_covers_beams_that_err():
    rng = np.random.default_rng(7)
    times, _ = gate_times(8.4, 1.2, 0.5)
    found = [fit_gates(GATES_M, times + rng.normal(0, 0.02, len(times)), 0.5) for _ in range(300)]
    held = [abs(one.v_max_m_s - 8.4) < 1.96 * one.v_max_sd_m_s for one in found if not one.reason]
    assert len(held) > 290
    assert np.mean(held) > 0.92
