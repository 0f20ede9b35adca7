import numpy as np
import pytest

from imustride.segmentation.instants import decline, hinge, mean_instant, on_side, windows

RATES = pytest.mark.parametrize("rate_hz", [100.0, 200.0, 500.0, 1000.0])
HALF_S = 0.09


def middle_time(rate_hz):
    """Times of a window around its middle sample [s]."""
    half = round(HALF_S * rate_hz)
    return np.arange(-half, half + 1) / rate_hz


def test_windows_repeat_the_ends():
    values = np.arange(5.0)
    found = windows(values, np.array([0, 2, 4]), 2)
    assert found.tolist() == [[0, 0, 0, 1, 2], [0, 1, 2, 3, 4], [2, 3, 4, 4, 4]]


@RATES
@pytest.mark.parametrize("at_s", [-0.03, 0.0, 0.02])
def test_a_hinge_is_most_likely_where_it_was_planted(rate_hz, at_s):
    # From air to ice: falls by a cubic, then holds its level, whatever that is.
    time_s = middle_time(rate_hz)
    at_s = round(at_s * rate_hz) / rate_hz
    before = np.clip(at_s - time_s, 0, None)
    level = np.array([[0.0], [0.3], [-2.0]])
    found = hinge(9.0 * before - 40.0 * before**2 + 300.0 * before**3 + level, rate_hz, 0.05)
    np.testing.assert_allclose(time_s[found.argmax(axis=1)], at_s, atol=1e-9)


@RATES
def test_noise_moves_a_hinge_little(rate_hz):
    time_s = middle_time(rate_hz)
    before = np.clip(-time_s, 0, None)
    noise = np.random.default_rng(1).normal(0, 0.02, (50, len(time_s)))
    found = hinge(9.0 * before - 40.0 * before**2 + noise, rate_hz, 0.05)
    error = time_s[found.argmax(axis=1)]
    assert abs(np.median(error)) < 0.006
    assert np.median(np.abs(error)) < 0.012


@RATES
def test_a_hinge_says_nothing_of_a_level(rate_hz):
    flat = np.full((1, len(middle_time(rate_hz))), 0.3)
    found = hinge(flat, rate_hz, 0.05)
    inside = found[np.isfinite(found)]
    assert np.ptp(inside) < 1e-6


@RATES
@pytest.mark.parametrize("at_s", [-0.03, 0.0, 0.025])
def test_a_decline_is_most_likely_where_the_vibration_ends(rate_hz, at_s):
    # Air to ice: log energy of three axes (chi-square) that steps up by 3 nepers at the instant.
    rng = np.random.default_rng(2)
    time_s = middle_time(rate_hz)
    energy = rng.chisquare(3, (40, len(time_s))) / 3 * np.where(time_s >= at_s, np.exp(3.0), 1.0)
    ice, air = np.full(40, 3.0), np.full(40, 0.0)
    found = decline(np.log(energy), ice, air, rate_hz, round(0.05 * rate_hz))
    instant, _ = mean_instant(found, round(0.05 * rate_hz))
    error = instant / rate_hz - at_s
    # Vibration may fade before it ends, and ring on: half of that is believed where it did neither.
    assert abs(np.mean(error)) < 0.008 + 0.5 / rate_hz
    assert np.std(error) < 0.012


@RATES
def test_a_shift_of_the_evidence_shifts_the_instant(rate_hz):
    rng = np.random.default_rng(3)
    level = np.log(rng.chisquare(3, (20, 2 * len(middle_time(rate_hz)))) / 3)
    half = round(HALF_S * rate_hz)
    step = level.shape[1] // 2
    level[:, step:] += 3.0
    move = max(round(0.02 * rate_hz), 1)
    reach = round(0.05 * rate_hz)
    found = []
    for middle in (step, step - move):
        window = level[:, middle - half : middle + half + 1]
        likely = decline(window, np.full(20, 3.0), np.zeros(20), rate_hz, reach)
        found.append(mean_instant(likely, reach)[0])
    moved = np.mean(found[1] - found[0]) / rate_hz
    assert moved == pytest.approx(move / rate_hz, abs=0.003)


def test_all_odds_on_the_ice_side_count():
    odds = np.array([[-1.0, -1.0, 2.0, 2.0]])
    found = on_side(odds, 400.0)
    assert found.tolist() == [[2.0, 3.0, 4.0, 2.0]]


@pytest.mark.parametrize("reach", [3, 10])
def test_the_mean_of_a_distribution_and_its_spread(reach):
    likely = np.full((2, 41), -np.inf)
    likely[0, 20 + 2] = 0.0
    likely[1, [20 - 1, 20 + 3]] = [np.log(3.0), 0.0]
    mean, spread = mean_instant(likely, reach)
    np.testing.assert_allclose(mean, [2.0, 0.0], atol=1e-12)
    np.testing.assert_allclose(spread, [0.0, np.sqrt(3.0)], atol=1e-6)


def test_without_any_evidence_the_middle_stands():
    mean, _ = mean_instant(np.full((1, 41), -np.inf), 10)
    assert mean == pytest.approx([0.0])
