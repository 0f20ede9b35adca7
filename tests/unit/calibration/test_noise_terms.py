import numpy as np
import pytest

from imustride.calibration.allan import AllanCurve, AllanSums, cluster_lengths
from imustride.calibration.noise_terms import TERMS, fit_terms, term_variances

RATE_HZ, COUNT, AXES = 25.0, 180_000, 12  # two hours


def flicker(rng, shape):
    """Noise with the two-sided spectrum 1 / (2 pi f): Kasdin 1995, Proc. IEEE 83:802, fractional differences."""
    count = shape[0]
    k = np.arange(1, count)
    response = np.concatenate(([1.0], np.cumprod((k - 0.5) / k)))
    white = np.fft.rfft(rng.normal(size=shape), 2 * count, axis=0)
    return np.fft.irfft(white * np.fft.rfft(response, 2 * count)[:, None], 2 * count, axis=0)[:count]


def curve_of(density, flick=0.0, walk=0.0, ramp=0.0, quantum=0.0, low_pass=0):
    rng = np.random.default_rng(5)
    values = density * np.sqrt(RATE_HZ) * rng.normal(size=(COUNT, AXES))
    if low_pass:
        values = np.apply_along_axis(np.convolve, 0, values, np.ones(low_pass) / low_pass, mode="same")
    values += flick * flicker(rng, values.shape) if flick else 0.0
    values += walk / np.sqrt(RATE_HZ) * np.cumsum(rng.normal(size=values.shape), axis=0)
    values += ramp * np.arange(COUNT)[:, None] / RATE_HZ
    values += quantum * RATE_HZ * np.diff(rng.uniform(-0.5, 0.5, (COUNT + 1, AXES)), axis=0) * np.sqrt(12)
    sums = AllanSums(cluster_lengths(COUNT), AXES)
    sums.add(values)
    return sums.curve(RATE_HZ)


def fits(curve):
    return [fit_terms(curve, axis) for axis in range(AXES)]


def seen(found, name):
    return [one.terms[name] for one in found if one.terms[name].value is not None]


def test_a_curve_without_scatter_gives_back_its_coefficients():
    truth = {"noise_density": 1e-2, "flicker": 3e-3, "rate_random_walk": 2e-3}
    averages = cluster_lengths(COUNT)
    tau_s = averages / RATE_HZ
    deviation = np.sqrt(term_variances(tau_s, truth).sum(axis=1))[:, None]
    freedom = np.maximum(COUNT / averages, 2.0)[:, None] * 1.0
    exact = AllanCurve(
        averages,
        tau_s,
        deviation,
        0.8 * deviation,
        1.25 * deviation,
        freedom,
        np.zeros_like(averages)[:, None],
    )
    found = fit_terms(exact, 0)
    for name, value in truth.items():
        assert found.terms[name].value == pytest.approx(value, rel=1e-6)
    assert found.worst_ratio == 1.0
    assert {name for name, term in found.terms.items() if term.value is None} == {"quantisation", "rate_ramp"}


def test_white_noise_alone_is_nothing_else():
    found = fits(curve_of(1e-2))
    density = seen(found, "noise_density")
    assert len(density) == AXES
    assert all(abs(one.value - 1e-2) < 3 * one.sd for one in density)
    assert all(one.sd < 0.01 * one.value for one in density)
    assert not [name for name in TERMS for _ in seen(found, name) if name != "noise_density"]


def test_where_the_curve_still_falls_the_bias_instability_is_only_bounded():
    found = fits(curve_of(1e-2))
    falling = [one for one in found if one.reached_s is None]
    assert len(falling) >= 0.8 * AXES
    assert all(one.bias_instability.value is None for one in falling)
    assert all(one.bias_instability.below > 1e-2 / np.sqrt(COUNT / RATE_HZ) for one in falling)


def test_three_kinds_at_once_are_told_apart():
    found = fits(curve_of(1e-2, 3e-3, 4e-4))
    for name, value in (("noise_density", 1e-2), ("flicker", 3e-3), ("rate_random_walk", 4e-4)):
        estimates = seen(found, name)
        assert len(estimates) >= 0.8 * AXES
        assert np.mean([one.value for one in estimates]) == pytest.approx(value, rel=0.1)
        assert np.mean([abs(one.value - value) < 1.96 * one.sd for one in estimates]) >= 0.8


def test_the_lowest_point_gives_the_bias_instability_and_its_time():
    found = fits(curve_of(1e-2, 3e-3, 4e-4))
    tau_s = np.geomspace(1, 1000, 2000)
    truth = np.sqrt(
        term_variances(tau_s, {"noise_density": 1e-2, "flicker": 3e-3, "rate_random_walk": 4e-4}).sum(axis=1)
    )
    values = [one.bias_instability.value for one in found]
    assert np.mean(values) == pytest.approx(truth.min() / 0.664282, rel=0.1)
    # The valley is flat: where the curve is lowest the true one lies within 2 % of its own lowest point.
    reached_s = np.median([one.reached_s for one in found])
    assert np.interp(reached_s, tau_s, truth) < 1.02 * truth.min()
    assert all(one.bias_low < one.bias_instability.value < one.bias_high for one in found)


def test_a_steady_drift_is_no_random_walk():
    found = fits(curve_of(1e-2, ramp=1.5e-5))
    assert len(seen(found, "rate_ramp")) == AXES
    assert np.mean([one.value for one in seen(found, "rate_ramp")]) == pytest.approx(1.5e-5, rel=0.1)
    assert not seen(found, "rate_random_walk")


def test_rounding_of_an_angle_is_seen_at_short_times():
    found = fits(curve_of(1e-3, quantum=1e-3))
    assert np.mean([one.value for one in seen(found, "quantisation")]) == pytest.approx(1e-3, rel=0.05)


def test_the_low_pass_of_the_device_is_left_out():
    found = fits(curve_of(1e-2, low_pass=5))
    assert all(0.2 < one.from_s < 8 for one in found)
    assert np.mean([one.terms["noise_density"].value for one in found]) == pytest.approx(1e-2, rel=0.02)


def test_what_follows_no_model_is_told():
    time_s = np.arange(COUNT) / RATE_HZ
    hum = np.sin(2 * np.pi * 0.21 * time_s)[:, None] * 0.05
    sums = AllanSums(cluster_lengths(COUNT), 1)
    sums.add(hum + np.random.default_rng(0).normal(0, 0.05, (COUNT, 1)))
    found = fit_terms(sums.curve(RATE_HZ), 0)
    assert found.worst_ratio > 1.2
    assert 0.5 < found.worst_s < 30
