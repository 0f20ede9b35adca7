"""Where the gain in speed comes from, on steps made by hand."""

import numpy as np
import pandas as pd
import pytest

from imustride.metrics.shares import speed_shares, trend_changes, usable_steps


def run_of(length_m, step_time_s, sd_m=None):
    """A run whose first push stands; steps of the others alternate between the feet."""
    count = len(length_m)
    order = np.arange(count)
    table = pd.DataFrame(
        {
            "side": np.where(order % 2, "left", "right"),
            "push": order // 2 + 1,
            "phase": np.where(order < 6, "acceleration", "later"),
            "step_length_m": length_m,
            "step_time_s": step_time_s,
        }
    )
    table.loc[0, ["step_length_m", "step_time_s"]] = np.nan
    return table if sd_m is None else table.assign(step_length_m_sd=sd_m)


def geometric(first, ratio, count=14):
    """Values that grow by the same factor at every step: their logarithms lie on a line, nothing scatters."""
    return first * ratio ** np.arange(count)


def test_shares_of_steady_growth():
    # Early: pushes 2 to 5, late: 11 to 14 of 14, nine steps apart. Length grows by 1.06, rate by 1.02 a step:
    # share of length ln 1.06 / (ln 1.06 + ln 1.02) = 0.0582689 / 0.0780715 = 0.746353.
    found = speed_shares(run_of(geometric(1.0, 1.06), 1 / geometric(2.5, 1.02)))
    assert found.length_gain_ratio == pytest.approx(1.06**9)
    assert found.rate_gain_ratio == pytest.approx(1.02**9)
    assert found.speed_gain_ratio == pytest.approx(1.06**9 * 1.02**9)
    assert found.length_share_ratio == pytest.approx(0.746353, abs=1e-6)
    assert found.length_share_ratio + found.rate_share_ratio == pytest.approx(1.0)
    assert found.share_sd_ratio == pytest.approx(0.0, abs=1e-9)
    assert (found.early_pushes, found.late_pushes, found.reason) == (4, 4, "")


def test_quick_feet_paid_with_short_pushes():
    # Rate grows while length falls: rate gives more than all of the gain, length takes some of it back.
    found = speed_shares(run_of(geometric(2.0, 0.99), 1 / geometric(2.0, 1.06)))
    assert found.length_share_ratio < 0
    assert found.rate_share_ratio > 1
    assert found.length_share_ratio + found.rate_share_ratio == pytest.approx(1.0)


def test_a_difference_between_the_feet_cancels():
    length = geometric(1.0, 1.06)
    length[::2] *= 1.2
    found = speed_shares(run_of(length, 1 / geometric(2.5, 1.02)))
    assert found.length_share_ratio == pytest.approx(0.746353, abs=1e-6)
    assert found.share_sd_ratio == pytest.approx(0.0, abs=1e-9)


def test_standard_error_worked_on_paper():
    # The left foot's fourth step of seven, and only its length, is wrong by e = 0.06 (logarithm): neither early nor
    # late. Its changes of trend see it as +e, -2e, +e, the rest is nothing: 5 changes of the left, 4 of the right.
    # Variance of one step 6 e^2 / (6 * 9) = e^2 / 9; of a difference of means of four and four: half of that.
    length = geometric(1.0, 1.06)
    e = 0.06
    length[7] *= np.exp(e)
    found = speed_shares(run_of(length, 1 / geometric(2.5, 1.02)))
    gain = 9 * np.log(1.06 * 1.02)
    assert found.length_share_ratio == pytest.approx(0.746353, abs=1e-6)
    by = (1 - found.length_share_ratio) / gain
    assert found.share_sd_ratio == pytest.approx(by * e / np.sqrt(18), rel=1e-6)


def test_stated_errors_of_the_lengths_are_carried():
    length = geometric(1.0, 1.06)
    found = speed_shares(run_of(length, 1 / geometric(2.5, 1.02), 0.05 * length))
    by = (1 - found.length_share_ratio) / (9 * np.log(1.06 * 1.02))
    assert found.share_sd_ratio == pytest.approx(by * 0.05 * np.sqrt(2), rel=1e-6)


def test_stated_standard_error_is_that_of_repeated_runs():
    rng = np.random.default_rng(2)
    found = [
        speed_shares(
            run_of(
                geometric(1.0, 1.06) * np.exp(rng.normal(0, 0.05, 14)),
                1 / geometric(2.5, 1.02) * np.exp(rng.normal(0, 0.03, 14)),
            )
        )
        for _ in range(400)
    ]
    shares = np.array([one.length_share_ratio for one in found])
    stated = np.sqrt(np.mean([one.share_sd_ratio**2 for one in found]))
    assert stated / np.std(shares) == pytest.approx(1.0, abs=0.15)


def test_no_gain_has_no_shares():
    rng = np.random.default_rng(4)
    found = speed_shares(run_of(2.0 * np.exp(rng.normal(0, 0.05, 14)), np.full(14, 0.4)))
    assert np.isnan([found.length_share_ratio, found.rate_share_ratio, found.share_sd_ratio]).all()
    assert "not clearly faster" in found.reason
    assert found.speed_gain_ratio == pytest.approx(found.length_gain_ratio * found.rate_gain_ratio)


def test_too_much_scatter_is_said():
    # Steps of steady speed gain, now long and slow, now short and quick.
    waver = np.exp(np.random.default_rng(6).normal(0, 0.25, 14))
    found = speed_shares(run_of(geometric(1.0, 1.03) * waver, waver / geometric(2.5, 1.03)))
    assert found.speed_gain_ratio == pytest.approx(1.03**18)
    assert np.isnan(found.length_share_ratio)
    assert "scatter too much" in found.reason


@pytest.mark.parametrize("kept", [range(7), range(0, 14, 2), []])
def test_too_few_steps_are_said(kept):
    run = run_of(geometric(1.0, 1.06), 1 / geometric(2.5, 1.02)).iloc[list(kept)]
    found = speed_shares(run)
    assert np.isnan([found.speed_gain_ratio, found.length_share_ratio]).all()
    assert "too few steps" in found.reason
    assert (found.early_pushes, found.late_pushes) == (0, 0)


def test_a_step_without_a_length_is_passed_over():
    run = run_of(geometric(1.0, 1.06), 1 / geometric(2.5, 1.02))
    run.loc[13, "step_length_m"] = np.nan  # the last of the left foot: the one before takes its place
    found = speed_shares(run)
    # Counted from 0: early 1, 2, 3, 4; late 9 and 11 left, 10 and 12 right: 10.5 - 2.5 = 8 steps apart.
    assert found.length_gain_ratio == pytest.approx(1.06**8)


@pytest.mark.parametrize(("lost", "changes"), [((), 9), ((5,), 6), ((3, 7, 11), 4)])
def test_only_steps_in_a_row_tell_how_single_steps_scatter(lost, changes):
    """Pushes 2 to 7 of the right foot make 4 changes, 1 to 7 of the left 5; every other one of a foot lost leaves it none."""
    table = run_of(geometric(1.5, 1.06), geometric(0.45, 1 / 1.02))
    table.loc[list(lost), "step_length_m"] = np.nan
    assert len(trend_changes(usable_steps(table))) == changes
