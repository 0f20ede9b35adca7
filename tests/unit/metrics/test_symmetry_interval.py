import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm, t

from imustride.metrics.symmetry_interval import RandomError, noise_squares, random_error
from imustride.metrics.symmetry_pairs import paired_run
from tests.benchmark.symmetry_coverage import Athlete, study


def alternating(values):
    return paired_run(np.arange(len(values)) % 2 == 1, np.asarray(values, dtype=float))


@pytest.mark.parametrize("freedom", [1, 2, 5, 30])
def test_without_systematic_part_the_half_width_is_that_of_t(freedom):
    error = RandomError(np.ones(1), np.array([2.0]), freedom, 4.0)
    assert error.half_width() == pytest.approx(2.0 * t.ppf(0.975, freedom), rel=1e-3)


def test_systematic_part_adds_as_t_and_normal_do():
    rng = np.random.default_rng(5)
    error = RandomError(np.array([0.3, 0.7]), np.array([1.0, 2.0]), 4, 4.0)
    scale = np.where(rng.random(2_000_000) < 0.3, 1.0, 2.0)
    drawn = scale * rng.standard_t(4, 2_000_000) + 3.0 * rng.standard_normal(2_000_000)
    assert error.half_width(3.0) == pytest.approx(np.quantile(np.abs(drawn), 0.95), rel=5e-3)


def test_many_degrees_of_freedom_add_in_quadrature():
    error = RandomError(np.ones(1), np.array([3.0]), 10_000, 9.0)
    assert error.half_width(4.0) == pytest.approx(5.0 * norm.ppf(0.975), rel=1e-3)


def test_noise_is_free_of_level_trend_and_difference():
    rng = np.random.default_rng(1)
    noise = rng.standard_normal(12)
    place = np.arange(12)
    rest = 30.0 + 2.0 * place + 5.0 * (place % 2)
    assert noise_squares(alternating(rest + noise))[0] == pytest.approx(noise_squares(alternating(noise))[0])


def test_noise_counts_no_slow_wave_but_what_alternates():
    place = np.arange(16)
    slow = np.cos(np.pi * (place + 0.5) / 16 * 2)
    alternating_feet = slow * (-1.0) ** place
    total = float(slow @ slow)
    assert noise_squares(alternating(slow))[0] < 0.05 * total
    assert noise_squares(alternating(alternating_feet))[0] > 0.9 * total


def test_every_degree_of_freedom_carries_the_push_to_push_variance():
    rng = np.random.default_rng(2)
    found = [noise_squares(alternating(rng.standard_normal(n))) for n in (5, 9, 14, 20) for _ in range(2000)]
    squares, cosines = np.array(found).T
    assert np.mean(squares / cosines) == pytest.approx(1.0, abs=0.04)  # four standard errors


@pytest.mark.parametrize(("pushes", "cosines"), [(3, 0), (4, 1), (5, 2), (12, 2), (18, 3), (40, 5)])
def test_number_of_cosines(pushes, cosines):
    assert noise_squares(alternating(np.arange(pushes) ** 2))[1] == cosines


def test_three_pushes_show_no_variation():
    assert random_error([alternating([1.0, 2.0, 3.0])]) is None


def test_runs_that_disagree_widen_the_interval_of_the_day():
    rng = np.random.default_rng(3)
    feet = np.arange(12) % 2

    def half_width(change):
        runs = [alternating(100.0 + 0.5 * rng.standard_normal(12) + d * feet) for d in (-change, 0.0, change)]
        return random_error(runs).half_width()

    assert half_width(8.0) > 5.0 * half_width(0.0)


@pytest.mark.slow
@pytest.mark.parametrize("runs", [1, 3, 6])
def test_interval_holds_the_truth_in_93_to_97_percent_of_days(runs):
    table = study(Athlete(change_percent=1.5), runs, replicates=1000, seed=20 + runs)
    for phase, share in table.groupby("phase")["covered"].mean().items():
        assert 0.93 <= share <= 0.97, phase


def test_leaving_the_systematic_part_out_would_be_noticed():
    athlete = Athlete(systematic_percent=3.0)
    honest = study(athlete, 6, replicates=400, seed=1)
    silent = study(athlete, 6, replicates=400, seed=1, stated_systematic_percent=0.0)
    later = honest["phase"] == "later"
    assert honest.loc[later, "covered"].mean() >= 0.93
    assert silent.loc[later, "covered"].mean() < 0.85


@pytest.mark.slow
def test_one_run_cannot_show_an_asymmetry_of_five_percent():
    # Acceleration and later pushes of one sprint. Over both together (six a foot) the share is 88 %, short of
    # the aim of 90 %: one cosine in place of two would reach it, with an interval of 12.7 standard errors.
    tables = [
        study(
            Athlete(
                left_spread_percent=spread,
                right_spread_percent=spread,
                change_percent=0.0,
                later_pushes=(6, 6),
            ),
            1,
            replicates=600,
            seed=4,
        )
        for spread in (5.0, 6.5, 8.0)
    ]
    table = pd.concat(tables)
    phases = table[table["phase"] != "all"]
    assert (phases["verdict"] == "unclear").mean() >= 0.9
    assert (table["verdict"] == "left larger").mean() <= 0.025
    unclear = table[table["verdict"] == "unclear"]
    assert (unclear["advice"] == "more_runs").mean() > 0.9
