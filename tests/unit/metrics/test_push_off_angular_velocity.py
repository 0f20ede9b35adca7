import numpy as np
import pytest

from imustride.metrics.push_off_angular_velocity_deg_s import measure, peak


def rates(kinematics_rate_hz, *pulses, noise_deg_s=0.0):
    """Angular velocity with Gaussian pulses about y: middle [s], standard deviation [s], peak [deg/s]."""
    time_s = np.arange(round(20 * kinematics_rate_hz)) / kinematics_rate_hz
    rate = sum(top * np.exp(-0.5 * ((time_s - at) / sd) ** 2) for at, sd, top in pulses)
    rate = rate + np.random.default_rng(1).normal(0, noise_deg_s, len(time_s))
    other = np.full(len(time_s), np.radians(900.0))  # much faster about the other axes: must not matter
    return np.stack([other, np.radians(rate), -other], axis=1)


@pytest.mark.parametrize("rate_hz", [100.0, 200.0, 512.0, 1000.0])
@pytest.mark.parametrize("lead_s", [-0.10, -0.013, 0.0, 0.04])
def test_the_peak_is_found_at_any_rate_and_lead(skate, view, rate_hz, lead_s):
    # A heel rise of 0.1 s and more; half a percent is a third of what smoothing at 20 Hz loses.
    kinematics = skate(rate_hz=rate_hz, angular_velocity_rad_s=rates(rate_hz, (5.0 + lead_s, 0.03, 640.0)))
    assert measure(view([5.0], kinematics)) == pytest.approx([640.0], rel=0.005)


def test_toe_down_counts_and_toe_up_does_not(skate, view):
    pulses = rates(200.0, (5.0, 0.03, 300.0), (5.06, 0.01, -1200.0), (8.0, 0.03, -500.0))
    found = measure(view([4.97, 8.0], skate(angular_velocity_rad_s=pulses)))
    assert found[0] == pytest.approx(300.0, rel=0.03)  # the tail of the other pulse takes a little
    assert found[1] <= 1.0


def test_only_the_window_around_blade_off_counts(skate, view):
    # A slap 0.21 s before and a kick 0.16 s after are larger, over within 0.04 s.
    pulses = rates(500.0, (4.79, 0.01, 900.0), (5.0, 0.03, 400.0), (5.16, 0.01, 900.0))
    seen = view([5.0], skate(rate_hz=500.0, angular_velocity_rad_s=pulses))
    assert measure(seen) == pytest.approx([400.0], rel=0.005)


@pytest.mark.parametrize("rate_hz", [200.0, 500.0, 1000.0])
def test_a_narrow_peak_is_not_smoothed_away(skate, view, rate_hz):
    # Half as high after 18 ms to either side. The whole allowance for the rate is 0.8 %.
    pulses = rates(rate_hz, (5.011, 0.015, 640.0))
    seen = view([5.0], skate(rate_hz=rate_hz, angular_velocity_rad_s=pulses))
    assert measure(seen) == pytest.approx([640.0], rel=0.008)


def test_vibration_is_taken_out_at_high_rates(skate, view):
    time_s = np.arange(20000) / 1000.0
    pulses = rates(1000.0, (5.0, 0.03, 500.0))
    pulses[:, 1] += np.radians(40.0) * np.sin(2 * np.pi * 170.0 * time_s)
    found = measure(view([5.0], skate(rate_hz=1000.0, angular_velocity_rad_s=pulses)))
    assert found == pytest.approx([500.0], rel=0.012)


def test_right_and_left_share_the_sign(skate, view):
    pulses = rates(200.0, (5.0, 0.03, 640.0))
    left, right = (
        measure(view([5.0], skate(side, angular_velocity_rad_s=pulses))) for side in ("left", "right")
    )
    assert left == right


def test_empty_where_a_sample_of_the_window_is_missing_or_clipped(skate, view, gap):
    pulses = rates(200.0, (5.0, 0.03, 640.0))
    clipped = np.zeros((4000, 2), bool)
    clipped[1010, 1] = True
    assert np.isnan(measure(view([5.0], gap(5.05, 5.06, angular_velocity_rad_s=pulses)))).all()
    assert np.isnan(measure(view([5.0], skate(angular_velocity_rad_s=pulses, clipped=clipped)))).all()
    only_acceleration = clipped[:, ::-1].copy()
    kinematics = skate(angular_velocity_rad_s=pulses, clipped=only_acceleration)
    assert np.isfinite(measure(view([5.0], kinematics))).all()
    assert np.isnan(measure(view([np.nan], skate()))).all()


@pytest.mark.parametrize("shift", [-0.5, -0.3, 0.0, 0.2, 0.49])
def test_a_parabola_between_samples_is_exact(shift):
    at = np.arange(9.0)
    assert peak(7.0 - 0.4 * (at - 4 - shift) ** 2) == pytest.approx(7.0, abs=1e-12)


@pytest.mark.parametrize("values", [[1.0, 2.0, 3.0], [3.0, 2.0, 1.0], [2.0, 2.0, 2.0], [1.0, 5.0, 5.0, 1.0]])
def test_a_peak_at_the_edge_or_a_plateau_is_no_less_than_the_samples(values):
    assert max(values) <= peak(np.array(values)) <= max(values) + 0.6
