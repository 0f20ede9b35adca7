import numpy as np
import pandas as pd
import pytest
from scipy.special import polygamma

from imustride.season.noise import (
    NOTHING,
    LeftOver,
    freedom_of_log,
    left_over,
    relative_weights,
    said_by_others,
)


def one(log_variance, uncertainty=0.4, days=8, residual=None):
    """One athlete, on days of nobody else unless the residuals are given."""
    start = np.datetime64("2026-09-01") + (one.calls * days if residual is None else 0)
    one.calls += 1
    return LeftOver(
        log_variance, uncertainty, start + np.arange(days), np.ones(days) if residual is None else residual
    )


one.calls = 0


def test_freedom_of_log_undoes_trigamma():
    assert freedom_of_log(float(polygamma(1, 3.5))) == pytest.approx(7.0)


def test_without_others_nothing_is_known_beforehand():
    assert said_by_others([]) == NOTHING
    assert NOTHING.joined(6.0, 3) == (2.0, 3.0)


def test_joined_weighs_by_degrees_of_freedom():
    noise = said_by_others([one(0.0)] * 20)
    variance, freedom = noise.joined(4.0 * 6, 6)
    assert freedom == pytest.approx(noise.freedom + 6)
    assert variance == pytest.approx((noise.freedom * noise.variance + 24.0) / (noise.freedom + 6))


def test_athletes_who_are_alike_say_more_than_few_or_differing_ones():
    rng = np.random.default_rng(3)
    alike = [one(x) for x in np.sqrt(0.4) * rng.standard_normal(29)]
    differing = [one(x) for x in np.sqrt(0.4 + 1.5**2) * rng.standard_normal(29)]
    many, few, unlike = said_by_others(alike), said_by_others(alike[:2]), said_by_others(differing)
    assert many.freedom > 2.0 * few.freedom
    assert many.freedom > 3.0 * unlike.freedom
    assert many.variance == pytest.approx(1.0, rel=0.3)


def test_a_noise_of_the_day_in_common_is_worth_its_days_only():
    rng = np.random.default_rng(5)
    apart = said_by_others([one(0.0, residual=rng.standard_normal(8)) for _ in range(29)])
    day = rng.standard_normal(8)
    common = said_by_others([one(0.0, residual=day) for _ in range(29)])
    assert common.freedom < 0.5 * apart.freedom
    # Variance of the logarithm at least 2 / (days - 2): about as many degrees of freedom.
    assert common.freedom < 7.0


def levels(values, runs=3):
    n = len(values)
    dates = pd.Timestamp("2026-09-01") + pd.to_timedelta(7 * np.arange(n), unit="D")
    return pd.DataFrame({
        "athlete": "A", "date": dates, "session": [f"S{k}" for k in range(n)], "level": np.asarray(values, dtype=float),
        "squares": 2.0, "runs": runs, "pushes": 40,
    })  # fmt: skip


def test_a_change_is_not_taken_for_noise():
    noise = np.random.default_rng(11).standard_normal(12)
    step = np.where(np.arange(12) < 6, 0.0, 50.0)
    without, with_step = (left_over(levels(noise + x), np.ones(12)) for x in (0.0, step))
    assert with_step.log_variance == pytest.approx(without.log_variance, abs=1.0)
    assert with_step.residual @ with_step.residual == pytest.approx(10.0)  # sessions less the two levels


def test_three_sessions_or_equal_ones_say_nothing():
    assert left_over(levels([1.0, 2.0, 3.0]), np.ones(3)) is None
    assert left_over(levels([0.3] * 6), np.ones(6)) is None


def test_weights_worked_out_on_paper():
    # Session means 0 2 0 2: variance 4/3. Runs: squares 2 x 4 over (1 + 1 + 3 + 3) = 1; typical number of runs
    # 4 / (1/2 + 1/2 + 1/4 + 1/4) = 8/3, so a session by itself has 4/3 - 3/8 = 23/24.
    table = levels([0.0, 2.0, 0.0, 2.0]).assign(runs=[2, 2, 4, 4])
    expected = (4 / 3) / (23 / 24 + 1.0 / np.array([2, 2, 4, 4]))
    np.testing.assert_allclose(relative_weights(table), expected)


def test_equal_runs_weigh_the_same():
    np.testing.assert_array_equal(relative_weights(levels([1.0, 5.0, 2.0, 8.0])), np.ones(4))
