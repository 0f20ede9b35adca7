import numpy as np
import pandas as pd
import pytest

from imustride.errors import SettingsError
from imustride.season.change import band, holm, judge_season, thirds
from imustride.season.levels import group_values, session_levels
from imustride.season.noise import NOTHING


def season(*courses, runs=2, spread=0.1):
    """Runs of athletes A0, A1, ... at the levels given, `spread` to either side of them."""
    rows = [
        (
            f"A{a}",
            pd.Timestamp("2026-09-01") + pd.Timedelta(days=7 * s),
            f"S{s}",
            f"r{r}",
            "all",
            20,
            level + off,
        )
        for a, course in enumerate(courses)
        for s, level in enumerate(course)
        for r, off in enumerate(np.linspace(-spread, spread, runs))
    ]
    return pd.DataFrame(rows, columns=["athlete", "date", "session", "run", "phase", "n", "value"])


def quiet(athletes, sessions=8, seed=1):
    return np.random.default_rng(seed).standard_normal((athletes, sessions))


def test_thirds_worked_out_on_paper():
    # 0 1 | 4 5: squares 1/2 + 1/2 on two degrees of freedom; mean 4.5 less 0.5; variance 1/2 + 1/2.
    assert thirds(np.array([0.0, 1.0, 4.0, 5.0]), np.ones(4), NOTHING) == (4.0, 1.0, 0.5, 2.0)
    # 0 1 2 | 3 4 | 5 6 7: squares 2 + 1/2 + 2 on five.
    assert thirds(np.arange(8.0), np.ones(8), NOTHING) == pytest.approx((5.0, 2 / 3, 4.5 / 5, 5.0))


def test_change_of_an_athlete_alone_on_paper():
    found = judge_season({"m": season([0.0, 1.0, 4.0, 5.0])}).iloc[0]
    half = 4.302653 * np.sqrt(0.5)  # t with two degrees of freedom, 97.5 %
    assert found["change"] == pytest.approx(4.0)
    assert [found["change_ci_low"], found["change_ci_high"]] == pytest.approx([4.0 - half, 4.0 + half])
    assert found["session_sd"] == pytest.approx(np.sqrt(0.5))
    assert found["learnt_from"] == 0
    assert (found["sessions"], found["runs"]) == (4, 8)


def test_holm_worked_out_on_paper():
    p = np.array([0.01, 0.04, 0.03, 0.005])
    assert holm(p, 4).tolist() == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert holm(np.array([0.01, np.nan]), 3).tolist() == pytest.approx([0.03, np.nan], nan_ok=True)
    assert holm(np.array([0.6, 0.9]), 2).tolist() == [1.0, 1.0]


def test_a_step_among_quiet_ones_is_found_where_it_is():
    courses = quiet(12)
    courses[3, 4:] += 7.0
    found = judge_season({"m": season(*courses)}).set_index("athlete")
    assert found.loc["A3", "verdict"] == "real change"
    assert found.loc["A3", "step"] == pytest.approx(7.0, abs=2.0)
    assert found.loc["A3", "step_ci_low"] > 0.0
    assert found.loc["A3", ["step_from", "step_to"]].tolist() == [
        pd.Timestamp("2026-09-29"),
        pd.Timestamp("2026-10-20"),
    ]
    assert (found.drop("A3")["verdict"] == "unclear").all()
    assert (found["learnt_from"] == 11).all()


def test_one_odd_session_is_no_change():
    courses = quiet(12)
    courses[3, 4] += 7.0
    found = judge_season({"m": season(*courses)}).set_index("athlete")
    assert found.loc["A3", "verdict"] == "unclear"


def test_no_change_that_matters_needs_a_size_that_matters():
    values = season(*quiet(12))
    assert "no change that matters" not in set(judge_season({"m": values})["verdict"])
    assert "no change that matters" not in set(judge_season({"m": values}, {"m": 1.0})["verdict"])
    assert set(judge_season({"m": values}, {"m": 20.0})["verdict"]) == {"no change that matters"}


def test_a_change_for_a_while_that_matters_is_not_hidden_by_equal_ends():
    courses = quiet(12)
    courses[0, 3:6] += 7.0
    found = judge_season({"m": season(*courses)}, {"m": 6.0}).iloc[0]
    assert abs(found["change"]) < 3.0
    assert found["verdict"] == "real change"


def test_more_metrics_ask_for_more():
    courses = quiet(12)
    courses[3, 4:] += 7.0
    values = season(*courses)
    others = {f"other{k}": season(*quiet(12, seed=9 + k)) for k in range(5)}
    alone = judge_season({"m": values}).set_index(["athlete", "metric"]).loc[("A3", "m")]
    among = judge_season({"m": values, **others}).set_index(["athlete", "metric"]).loc[("A3", "m")]
    assert among["p_value"] == alone["p_value"] == alone["p_adjusted"]
    assert among["p_adjusted"] == pytest.approx(6.0 * alone["p_value"])


def test_three_sessions_are_too_few_and_it_is_said():
    found = judge_season({"m": season([0.0, 9.0, 9.0], [0.0, 0.1, 0.0], [5.0, 5.1, 5.0])}, {"m": 50.0})
    assert set(found["verdict"]) == {"unclear"}
    assert found["reason"].str.startswith("3 sessions with a value: a change is told from 4 on").all()
    assert found["change"].isna().all()


def test_an_athlete_without_a_value_stays_in_the_table():
    values = season(*quiet(3))
    values.loc[values["athlete"] == "A1", "value"] = np.nan
    found = judge_season({"m": values}).set_index("athlete")
    assert found.loc["A1", ["sessions", "verdict", "reason"]].tolist() == [
        0,
        "unclear",
        "no session with a value",
    ]
    assert found.loc["A0", "learnt_from"] == 1


def test_values_without_scatter_alone_are_not_judged():
    for course in ([2.0] * 6, [2.0] * 3 + [3.0] * 3):
        found = judge_season({"m": season(course, spread=0.0)}, {"m": 5.0}).iloc[0]
        assert found["verdict"] == "unclear"
        assert found["reason"] == "sessions do not scatter: their noise is not known"


def test_equal_values_are_judged_by_the_noise_of_the_others():
    values = season([2.0] * 8, *quiet(11), spread=0.0)
    assert judge_season({"m": values}, {"m": 20.0}).iloc[0]["verdict"] == "no change that matters"
    assert judge_season({"m": values}, {"m": 0.5}).iloc[0]["verdict"] == "unclear"


def test_a_step_inside_a_third_is_no_noise():
    courses = quiet(12)
    flat = judge_season({"m": season(*courses)}).set_index("athlete").loc["A3"]
    courses[3, 2:] += 30.0
    found = judge_season({"m": season(*courses)}).set_index("athlete").loc["A3"]
    assert found["verdict"] == "real change"
    assert found["session_sd"] < 2.0 * flat["session_sd"]


@pytest.mark.parametrize("count", [0, 7])
def test_a_family_has_one_to_six_metrics(count):
    with pytest.raises(SettingsError, match=f"{count} metrics to judge; wanted 1 to 6"):
        judge_season({f"m{k}": season([0.0, 1.0]) for k in range(count)})


def test_a_smallest_change_of_nothing_is_refused():
    with pytest.raises(SettingsError, match=r"smallest change of m is 0\.0; wanted more than 0"):
        judge_season({"m": season([0.0, 1.0])}, {"m": 0.0})


def test_order_of_the_rows_changes_nothing():
    values = season(*quiet(5))
    shuffled = values.sample(frac=1.0, random_state=4)
    pd.testing.assert_frame_equal(judge_season({"m": values}), judge_season({"m": shuffled}))


@pytest.mark.parametrize(("factor", "offset"), [(1e-3, 0.0), (1.0, 1e4), (-50.0, 3.0)])
def test_units_and_zero_do_not_matter(factor, offset):
    courses = quiet(6)
    courses[2, 5:] += 9.0
    values = season(*courses)
    moved = values.assign(value=offset + factor * values["value"])
    one, other = judge_season({"m": values}), judge_season({"m": moved})
    assert one["verdict"].tolist() == other["verdict"].tolist()
    np.testing.assert_allclose(other["change"], factor * one["change"], rtol=1e-8)
    np.testing.assert_allclose(other["p_value"], one["p_value"], atol=2e-4)


def test_band_is_that_of_one_session():
    levels = session_levels(season([0.0, 1.0, 4.0, 5.0], [1.0, 2.0, 3.0]))
    found = band(levels)
    alone = band(levels[levels["athlete"] == "A0"])
    half = 4.302653 * np.sqrt(0.5)
    np.testing.assert_allclose(alone["band_high"] - alone["level"], half, rtol=1e-6)
    np.testing.assert_allclose(alone["level"] - alone["band_low"], half, rtol=1e-6)
    assert found[found["athlete"] == "A1"]["band_low"].isna().all()


def test_a_group_that_rises_together_is_judged_by_its_days():
    day = np.array([0.0, 0.3, -0.3, 0.1, 6.0, 6.3, 5.8, 6.1])
    values = season(*(quiet(12) + day))
    found = judge_season({"m": group_values(values)}).iloc[0]
    assert (found["athlete"], found["sessions"], found["learnt_from"]) == ("group", 8, 0)
    assert found["verdict"] == "real change"
    assert found["step"] == pytest.approx(6.0, abs=0.6)
    # The same days shuffled are noise, though every athlete went along.
    shuffled = season(*(quiet(12) + day[[0, 4, 1, 5, 2, 6, 3, 7]]))
    assert judge_season({"m": group_values(shuffled)}).iloc[0]["verdict"] == "unclear"
