import numpy as np
import pytest

from imustride.calibration.allan import EXACT, AllanSums, allan_deviation, cluster_lengths
from imustride.calibration.freedom import degrees_of_freedom, noise_exponents


@pytest.fixture
def white():
    return np.random.default_rng(1).normal(9.81, 0.02, (30_000, 2))


def in_pieces(values, lengths, size, exact=EXACT):
    sums = AllanSums(lengths, values.shape[1], exact)
    for start in range(0, len(values), size):
        sums.add(values[start : start + size])
    return sums.curve(100.0)


@pytest.mark.parametrize("size", [1, 997, 20_000])
def test_pieces_give_what_the_whole_gives(white, size):
    few = white[:1500] if size == 1 else white
    lengths = cluster_lengths(len(few))
    whole, pieces = allan_deviation(few, 100.0, lengths), in_pieces(few, lengths, size, exact=10**9)
    np.testing.assert_allclose(pieces.deviation, whole.deviation, rtol=1e-9)


def test_long_clusters_that_begin_less_often_cost_next_to_nothing(white):
    lengths = cluster_lengths(len(white))
    exact, sparse = allan_deviation(white, 100.0, lengths), in_pieces(white, lengths, 5000, exact=256)
    own_error = exact.deviation / np.sqrt(2 * exact.freedom)
    assert (np.abs(sparse.deviation - exact.deviation) < 0.01 * own_error).all()
    assert (sparse.deviation != exact.deviation).any()


def test_memory_does_not_grow_with_the_series():
    sums = AllanSums(cluster_lengths(10**8), 6)
    for _ in range(3):
        sums.add(np.zeros((50_000, 6)))
    assert sum(level._held.size for level in sums._levels) <= 6 * 2 * EXACT * len(sums._levels)


def test_every_long_cluster_is_a_whole_number_of_steps():
    lengths = cluster_lengths(10**8)
    assert (np.diff(lengths) > 0).all()
    # The last of ten a decade, below a quarter of the series, cut to whole steps of half a per cent at most.
    assert 0.995 * 10**8 / 4 / 10**0.1 < lengths[-1] <= 10**8 / 4
    assert max(AllanSums(lengths, 1)._steps) > 1000
    assert (lengths // AllanSums(lengths, 1)._steps <= EXACT).all()


def test_clusters_longer_than_half_of_the_series_are_left_out():
    curve = allan_deviation(np.arange(10.0), 1.0, [1, 5, 6])
    assert list(curve.averages) == [1, 5]


def test_a_steady_slope_has_the_deviation_of_a_ramp():
    """IEEE Std 952, annex C: the Allan deviation of a ramp R t is R tau / sqrt(2)."""
    curve = allan_deviation(0.5 * np.arange(400) / 10.0, 10.0, [1, 7, 40])
    np.testing.assert_allclose(curve.deviation[:, 0], 0.5 * curve.tau_s / np.sqrt(2), rtol=1e-9)


def test_the_intervals_hold_the_truth_of_white_noise():
    """The deviation of white noise of density N is N / sqrt(tau)."""
    values = np.random.default_rng(2).normal(0, 1.0, (4000, 400))
    curve = allan_deviation(values, 1.0)
    truth = 1 / np.sqrt(curve.tau_s)[:, None]
    held = np.mean((curve.low <= truth) & (truth <= curve.high), axis=1)
    # Kinds told wrongly at the long end cost some points there (400 series: standard error 1.1 points).
    assert (held[:-4] > 0.91).all()
    assert (held > 0.86).all()
    assert held.mean() == pytest.approx(0.95, abs=0.02)


def test_the_kind_of_noise_is_told_by_its_slope():
    averages = np.array([1, 2, 4, 8, 16, 32])
    slopes = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    variance = averages[:, None] ** slopes
    np.testing.assert_array_equal(noise_exponents(averages, variance)[2], [2, 0, -1, -2, -2])


def test_a_steep_slope_behind_a_flat_one_is_chance():
    averages = 2 ** np.arange(12)
    variance = np.where(averages <= 64, 1.0, (averages / 64.0) ** -2.0)
    assert not (noise_exponents(averages, variance[:, None]) == 2).any()


def test_a_series_too_short_for_a_pair_has_no_freedom():
    assert degrees_of_freedom(0, 6, 10, 6) == 0.0
