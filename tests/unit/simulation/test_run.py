"""Runs are repeatable, every effect can be switched alone, and wrong words are refused."""

import numpy as np
import pytest

from imustride.errors import SettingsError
from imustride.simulation import simulate_run
from imustride.simulation.drawing import draw
from imustride.simulation.motion import move
from imustride.simulation.run import simulate

# Every single effect of real ice, against a run without it.
OFF = {
    "skid_m_s": 0.0,
    "slap": False,
    "toe_pivot": False,
    "landing_speed_m_s": 0.02,
    "plough_deg": 0.0,
    "rate_hz": 200.0,
    "low_pass_ratio": 0.0,
    "low_pass_declared": False,
    "log_begins_late": False,
    "log_ends_early": False,
    "slip_point": "contact",
    "axes_declared": False,
    "position_declared": False,
}
EFFECTS = [
    {"landing_speed_m_s": 0.6},
    {"slap": True},
    {"ice_vibration_m_s2": 8.0},
    {"skid_m_s": 0.3},
    {"chatter_m_s": 0.1},
    {"slip_point": "middle"},
    {"toe_pivot": True},
    {"boot_flex_deg": 2.0},
    {"bracket_hz": 90.0},
    {"path_curve_deg": 8.0},
    {"shuffle": True},
    {"stumble_ratio": 0.5},
    {"plough_deg": 8.0},
    {"low_pass_ratio": 0.3},
    {"delay_s": 0.003},
    {"acceleration_range_g": 2.0},
    {"gaps": 2},
    {"left_slip_deg": 30.0},
]


@pytest.fixture(scope="module")
def plain():
    return simulate_run(3, "good", **OFF)


def same(one, other):
    return len(one.time_s) == len(other.time_s) and all(
        np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True)
        for name in ("time_s", "acceleration_m_s2", "angular_velocity_rad_s")
    )


def test_same_seed_same_run_and_other_seed_another(plain):
    again, other = simulate_run(3, "good", **OFF), simulate_run(4, "good", **OFF)
    assert same(plain.logs["left_skate"], again.logs["left_skate"])
    assert plain.truth.equals(again.truth)
    assert plain.factors == again.factors
    assert not same(plain.logs["left_skate"], other.logs["left_skate"])


@pytest.mark.parametrize("effect", EFFECTS, ids=lambda effect: next(iter(effect)))
def test_an_effect_switched_alone_changes_the_signals_and_no_other_draw(plain, effect):
    changed = simulate_run(3, "good", **(OFF | effect))
    assert not same(plain.logs["left_skate"], changed.logs["left_skate"])
    named = {name for name, value in plain.factors.items() if changed.factors[name] != value}
    (effect_name,) = effect
    expected = {effect_name, f"left_{effect_name}", f"right_{effect_name}", "stumble_order"}
    assert named
    assert named <= expected


def test_a_one_sided_override_leaves_the_other_sensor_alone(plain):
    changed = simulate_run(3, "good", **(OFF | {"left_slip_deg": 30.0}))
    assert same(plain.logs["right_skate"], changed.logs["right_skate"])


@pytest.mark.parametrize("grade", ["good", "poor", "real_ice"])
def test_logs_are_plausible_sensors_in_every_grade(grade):
    for seed in range(3):
        run = simulate_run(seed, grade, axes_declared=bool(seed % 2))
        low, high = (100, 200) if grade == "poor" else (100, 1000)
        assert set(run.logs) == {"left_skate", "right_skate"}
        for log in run.logs.values():
            rate = 1 / np.median(np.diff(log.time_s))
            assert low * 0.98 < rate < high * 1.02
            assert np.all(np.diff(log.time_s) > 0)
            quiet = log.acceleration_m_s2[: int(0.3 * rate)]
            assert np.linalg.norm(quiet, axis=1).mean() == pytest.approx(9.807, abs=1.3)
            assert (log.sensor.axes is not None) == bool(seed % 2)
        assert np.all(run.truth["blade_off_s"].between(run.logs["left_skate"].time_s[0], 1e9))
        own = run.truth[run.truth["side"] == "right"]["blade_off_own_s"]
        stamps = run.logs["right_skate"].time_s
        assert own.between(stamps[0], stamps[-1]).all()


def test_truth_is_in_published_and_wanted_ranges():
    for seed in range(5):
        truth = simulate_run(seed, "good", rate_hz=200.0).truth
        pushes = truth[truth["push"] > 0]
        assert pushes["contact_time_s"].dropna().between(0.14, 1.1).all()
        assert pushes["stride_time_s"].dropna().between(0.4, 1.8).all()
        assert pushes["push_off_angular_velocity_deg_s"].between(180, 1150).all()
        assert pushes["edge_angle_deg"].between(8, 60).all()
        steps = np.diff(truth["blade_off_s"])
        assert 1.1 < 1 / steps.mean() < 4.6


@pytest.mark.parametrize("planted", [-10.0, 0.0, 10.0])
def test_contact_and_rate_differ_between_the_feet_as_planted(planted):
    """Mean over runs of the symmetry index of later pushes; the push-to-push spread is switched low."""
    found = {"contact_time_s": [], "push_off_angular_velocity_deg_s": []}
    for seed in range(3):
        overrides = {"contact_asymmetry_percent": planted, "rate_asymmetry_percent": planted}
        calm = {"variation_ratio": 0.0, "tremor_deg": 0.1, "stride_time_s": 0.8, "rate_hz": 200.0}
        calm |= {"double_support_first_ratio": 0.05, "double_support_last_ratio": 0.05}
        truth = simulate_run(seed, "good", **calm, **overrides).truth
        later = truth[truth["push"] > 2]
        for column, values in found.items():
            right = later[later["side"] == "right"][column].mean()
            left = later[later["side"] == "left"][column].mean()
            values.append(100 * (right - left) / (0.5 * (right + left)))
    assert np.mean(found["contact_time_s"]) == pytest.approx(planted, abs=1.5)
    assert np.mean(found["push_off_angular_velocity_deg_s"]) == pytest.approx(planted, abs=2.5)


@pytest.mark.parametrize("kind", ["heels", "knock"])
def test_shared_shocks_reach_both_sensors_at_once(kind):
    clocks = {"clock_offset_s": 0.0, "clock_drift_ppm": 0.0, "delay_s": 0.0, "low_pass_ratio": 0.0}
    whole = {"log_begins_late": False, "log_ends_early": False, "rate_hz": 1000.0, "shock_height_m": 0.03}
    drawn = draw(5, "good", 0, clocks | whole | {"shock_kind": kind, "shock_apart_s": 0.0})
    run, shocks = simulate(drawn, "run-1"), move(drawn).plan.shocks_s
    assert len(shocks) == 4
    for log in run.logs.values():
        jolt = np.abs(np.linalg.norm(log.acceleration_m_s2, axis=1) - 9.80665)
        for shock_s in shocks:
            near = np.abs(log.time_s - shock_s) < 0.3
            assert jolt[near].max() > 15.0
            first = log.time_s[near][np.argmax(jolt[near] > 0.5 * jolt[near].max())]
            assert first == pytest.approx(shock_s, abs=0.006)


def test_unknown_grade_and_override_are_refused():
    with pytest.raises(SettingsError, match="unknown grade 'perfect'"):
        simulate_run(1, "perfect")
    with pytest.raises(SettingsError, match="unknown override 'skid'"):
        simulate_run(1, "good", skid=0.1)
