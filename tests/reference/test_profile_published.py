"""The sprint profile against published times and speeds; the source stands beside each."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.special import lambertw

from imustride.constants import HUNDRED_FEET_M
from imustride.metrics.profile import Profile, fit_gates, fit_speed

# Computed from the model's own formula, x = v_max (t - tau (1 - exp(-t / tau))) = 30.48 m, to a millisecond.
TIMES = [(8.0, 1.2, 4.991), (9.0, 1.3, 4.650), (9.5, 1.4, 4.554)]
# 30.48 m at the mean of 6.76 m/s over 26 to 39 m (Stastny et al. 2023, Biol. Sport 40:899-918,
# doi 10.5114/biolsport.2023.122479), with the 8.96 m/s of men of high calibre (Budarick et al. 2020, Sports Biomech.,
# doi 10.1080/14763141.2018.1503323): 1.13 s and 7.9 m/s^2, each to the last digit given.
MEAN_TIME_S, PEAK_M_S = 4.51, 8.96


@pytest.mark.parametrize(("v_max", "tau", "time_s"), TIMES)
def test_time_over_100_feet(v_max, tau, time_s):
    profile = Profile(v_max, tau, 0.0)
    assert profile.time_s(np.array([HUNDRED_FEET_M])) == pytest.approx([time_s], abs=0.0006)
    assert profile.distance_m(np.array([time_s])) == pytest.approx([HUNDRED_FEET_M], abs=0.0006 * v_max)


def test_published_mean_and_peak_give_the_time_constant():
    profile = Profile(PEAK_M_S, 1.13, 0.0)
    assert profile.time_s(np.array([HUNDRED_FEET_M])) == pytest.approx([MEAN_TIME_S], abs=0.01)
    assert profile.initial_acceleration_m_s2 == pytest.approx(7.9, abs=0.05)


@pytest.mark.parametrize(("v_max", "tau", "time_s"), TIMES)
def test_the_closed_forms_solve_the_equation_of_motion(v_max, tau, time_s):
    # A force that falls with speed: dv/dt = (v_max - v) / tau, integrated numerically.
    run = solve_ivp(lambda _, y: [y[1], (v_max - y[1]) / tau], (0, time_s), [0, 0], rtol=1e-11, atol=1e-12)
    profile = Profile(v_max, tau, 0.0)
    np.testing.assert_allclose(profile.distance_m(run.t), run.y[0], atol=1e-8)
    np.testing.assert_allclose(profile.speed_m_s(run.t), run.y[1], atol=1e-8)


@pytest.mark.parametrize(("v_max", "tau"), [times[:2] for times in TIMES])
def test_time_against_lamberts_function(v_max, tau):
    """The closed form t / tau = 1 + X + W(-exp(-1 - X)), X = x / (v_max tau), principal branch."""
    metres = np.array([0.1, 1.0, 5.0, HUNDRED_FEET_M, 400.0])
    reduced = metres / (v_max * tau)
    exact = tau * (1 + reduced + lambertw(-np.exp(-1 - reduced)).real)
    np.testing.assert_allclose(Profile(v_max, tau, 0.0).time_s(metres), exact, rtol=1e-12)


@pytest.mark.parametrize(("v_max", "tau", "time_s"), TIMES)
def test_both_fits_find_the_published_profile(v_max, tau, time_s):
    since = np.arange(0.0, time_s, 0.02)
    of_speed = fit_speed(since, v_max * -np.expm1(-since / tau))
    places = np.array([0.0, 10.0, 20.0, HUNDRED_FEET_M]) + 0.5
    passed = Profile(v_max, tau, 0.0).time_s(places)
    of_gates = fit_gates(places - 0.5, passed - passed[0], 0.5)
    for found in (of_speed, of_gates):
        assert (found.v_max_m_s, found.tau_s) == pytest.approx((v_max, tau), rel=1e-4)
