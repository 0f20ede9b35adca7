import numpy as np
import pandas as pd
import pytest

from imustride.metrics.symmetry import COLUMNS, MetricSymmetry, SmallestDifference, Systematic, symmetry_table
from imustride.metrics.symmetry_verdict import NORMAL_95

CONTRACT = [
    "phase", "metric", "unit", "left_mean", "right_mean", "left_cv_percent", "right_cv_percent", "n_left", "n_right",
    "n_runs", "scope", "symmetry_index_percent", "ci_low_percent", "ci_high_percent", "difference",
    "difference_ci_low", "difference_ci_high", "smallest_difference", "smallest_difference_source", "verdict",
]  # fmt: skip
METRICS = {"contact_time_s": MetricSymmetry("index", "s")}


def run(values, sides="LR", name="run-1", phase="later", **columns):
    """Rows of one run; the feet alternate as `sides` says."""
    sides = (sides * len(values))[: len(values)]
    table = pd.DataFrame(
        {
            "run": name,
            "side": [{"L": "left", "R": "right"}[side] for side in sides],
            "push": [sides[: i + 1].count(side) for i, side in enumerate(sides)],
            "phase": phase,
            "blade_off_s": 10.0 + 0.4 * np.arange(len(values)),
            "contact_time_s": values,
            "flags": "",
        }
    )
    return table.assign(**columns)


def row(*runs, phase="all", metrics=METRICS, systematic=None, smallest=None, usable=None):
    pushes = pd.concat(runs, ignore_index=True)
    usable = set(pushes["run"]) if usable is None else usable
    table = symmetry_table(pushes, usable, metrics, systematic or {}, smallest)
    return table[table["phase"] == phase].iloc[0]


def noisy(seed, pushes=12, spread=0.02, right=1.0, **more):
    value = 0.3 * (1.0 + spread * np.random.default_rng(seed).standard_normal(pushes))
    value[1::2] *= right
    return run(value, name=f"run-{seed}", **more)


def test_columns_are_those_of_the_contract_and_more_after_them():
    table = symmetry_table(run([0.3, 0.31, 0.3, 0.31]), {"run-1"}, METRICS, {})
    assert list(table.columns[: len(CONTRACT)]) == CONTRACT
    assert list(table.columns) == list(COLUMNS)
    assert list(table["phase"]) == ["acceleration", "later", "all"]


def test_a_trend_along_the_run_is_no_difference_of_the_feet():
    # Plain means would say left 0.38, right 0.36. Left-then-right pairs: L (.40 + .36) / 2, R (.38 + .34) / 2;
    # right-then-left pair: L .36, R .38; so L = R = .37.
    found = row(run([0.40, 0.38, 0.36, 0.34]))
    assert found["left_mean"] == pytest.approx(0.37)
    assert found["right_mean"] == pytest.approx(0.37)
    assert found["symmetry_index_percent"] == pytest.approx(0.0, abs=1e-9)


def test_means_of_five_pushes_by_hand():
    # L .30 .34 .29, R .33 .31. L-then-R: L (.30 + .34) / 2 = .32, R (.33 + .31) / 2 = .32.
    # R-then-L: R .32, L (.34 + .29) / 2 = .315. Left .3175, right .32; index 100 x .0025 / .31875.
    found = row(run([0.30, 0.33, 0.34, 0.31, 0.29]))
    assert found["left_mean"] == pytest.approx(0.3175)
    assert found["right_mean"] == pytest.approx(0.32)
    assert found["difference"] == pytest.approx(0.0025)
    assert found["symmetry_index_percent"] == pytest.approx(0.784314, abs=1e-6)
    assert (found["n_left"], found["n_right"], found["n_runs"], found["scope"]) == (3, 2, 1, "run")


def test_a_missing_value_breaks_its_pairs():
    # Pairs left: (0, 1) left first, (4, 5) left first, (5, 6) right first. Left half of
    # ((.30 + .36) / 2 + .32) = .325; right half of ((.33 + .35) / 2 + .35) = .345.
    found = row(run([0.30, 0.33, np.nan, 0.90, 0.36, 0.35, 0.32], sides="LRLLLRL"))
    assert found["left_mean"] == pytest.approx(0.325)
    assert found["right_mean"] == pytest.approx(0.345)
    assert (found["n_left"], found["n_right"]) == (3, 2)


def test_two_pushes_of_one_foot_in_a_row_do_not_pair():
    # L R | R L R: (0, 1) and (3, 4) left first, (2, 3) right first.
    found = row(run([0.30, 0.32, 0.34, 0.31, 0.33], sides="LRRLR"))
    assert found["left_mean"] == pytest.approx(0.5 * (0.305 + 0.31))
    assert found["right_mean"] == pytest.approx(0.5 * (0.325 + 0.34))


def test_order_is_by_blade_off_not_by_row():
    table = run([0.30, 0.33, 0.34, 0.31, 0.29])
    shuffled = table.iloc[[3, 0, 4, 2, 1]]
    assert row(shuffled)["symmetry_index_percent"] == row(table)["symmetry_index_percent"]


def test_pairs_stay_inside_their_phase():
    table = run([0.9, 0.30, 0.33, 0.30, 0.33], phase=["acceleration"] + ["later"] * 4, sides="RL")
    assert row(table, phase="later")["n_right"] == 2
    assert row(table, phase="all")["n_right"] == 3
    assert row(table, phase="acceleration")["verdict"] == "not measured"


def test_the_foot_that_lifts_first_stays_out():
    table = run([9.0, 0.30, 0.33, 0.30, 0.33], sides="RL", push=[0, 1, 1, 2, 2])
    found = row(table)
    assert found["left_mean"] == pytest.approx(0.30)
    assert found["right_mean"] == pytest.approx(0.33)
    assert found["n_right"] == 2


def test_runs_weigh_by_their_pairs_and_unusable_runs_do_not_count():
    short, long, spoiled = (
        run([0.30, 0.30, 0.30], name="a"),
        run([0.40] * 7, name="b"),
        run([9.0] * 7, name="c"),
    )
    found = row(short, long, spoiled, usable={"a", "b"})
    assert found["left_mean"] == pytest.approx((2 * 0.30 + 6 * 0.40) / 8)
    assert (found["n_runs"], found["scope"], found["n_left"]) == (2, "day", 2 + 4)


def test_a_run_with_pairs_of_one_order_only_cannot_tell_the_trend_and_stays_out():
    lonely = run([0.40, 0.20], name="a")
    found = row(lonely, run([0.30, 0.33, 0.30, 0.33], name="b"))
    assert found["n_runs"] == 1
    assert found["symmetry_index_percent"] == pytest.approx(100 * 0.03 / 0.315)
    assert row(lonely)["verdict"] == "not measured"


def test_spread_is_about_each_foot_s_own_line_in_each_run():
    # Left .30 .32 .36 in places 0 2 4: line .2967 + .015 place; residuals 1, -2, 1 thirds of .01; one degree of
    # freedom: SD = .01 sqrt(6) / 3. Left mean: L-then-R (.30 + .32) / 2, R-then-L (.32 + .36) / 2.
    found = row(run([0.30, 0.33, 0.32, 0.33, 0.36]))
    assert found["left_cv_percent"] == pytest.approx(100 * 0.01 * np.sqrt(6) / 3 / 0.325)
    assert np.isnan(found["right_cv_percent"])


def test_swapping_the_feet_turns_every_sign():
    table = pd.concat([noisy(1, right=1.1), noisy(2, right=1.1)])
    swapped = table.assign(side=table["side"].map({"left": "right", "right": "left"}))
    found, other = row(table), row(swapped)
    for low, high in [("ci_low_percent", "ci_high_percent"), ("difference_ci_low", "difference_ci_high")]:
        assert found[low] == pytest.approx(-other[high])
        assert found[high] == pytest.approx(-other[low])
    assert found["symmetry_index_percent"] == pytest.approx(-other["symmetry_index_percent"])
    assert (found["verdict"], other["verdict"]) == ("right larger", "left larger")


def test_a_steeper_trend_changes_neither_difference_nor_interval():
    table = noisy(1)
    steeper = table.assign(contact_time_s=table["contact_time_s"] + 0.01 * np.arange(len(table)))
    for column in ("difference", "difference_ci_low", "difference_ci_high"):
        assert row(steeper)[column] == pytest.approx(row(table)[column], abs=1e-9)


def test_index_and_interval_do_not_depend_on_the_unit():
    table = noisy(1)
    in_ms = table.assign(contact_time_s=1000.0 * table["contact_time_s"])
    for column in ("symmetry_index_percent", "ci_low_percent", "ci_high_percent", "random_percent"):
        assert row(in_ms)[column] == pytest.approx(row(table)[column], rel=1e-6)


def test_systematic_part_alone_remains_where_pushes_are_all_alike():
    table = run([0.30, 0.33] * 5)
    found = row(table, systematic={"contact_time_s": Systematic(index_sd_percent=2.0)})
    assert found["ci_high_percent"] - found["symmetry_index_percent"] == pytest.approx(2.0 * NORMAL_95)
    assert found["systematic_percent"] == pytest.approx(2.0 * NORMAL_95)
    assert found["systematic_difference"] == pytest.approx(0.02 * 0.315 * NORMAL_95)
    assert found["random_percent"] == pytest.approx(0.0, abs=1e-6)


def test_systematic_part_widens_and_is_shown_alone():
    days = [noisy(seed) for seed in (1, 2, 3)]
    without, found = row(*days), row(*days, systematic={"contact_time_s": Systematic(difference_sd=0.006)})
    half = 0.5 * (found["difference_ci_high"] - found["difference_ci_low"])
    assert np.isnan(without["systematic_difference"])
    assert found["random_difference"] == without["random_difference"]
    assert found["systematic_difference"] == pytest.approx(0.006 * NORMAL_95)
    assert half > found["systematic_difference"]
    # A t and a normal add to less than the root of the squared 95 % points, the t's being far out.
    assert half <= np.hypot(found["systematic_difference"], found["random_difference"]) * 1.001


def test_metrics_that_can_be_zero_have_no_index_and_a_verdict_from_the_difference():
    values = np.where(np.arange(14) % 2 == 0, -0.02, 0.02) + 0.001 * np.sin(np.arange(14) ** 2)
    metrics = {"double_support_s": MetricSymmetry("difference", "s")}
    table = run(values, double_support_s=values)
    found = row(table, metrics=metrics)
    assert np.isnan(found["symmetry_index_percent"])
    assert np.isnan(found["ci_low_percent"])
    assert found["difference"] == pytest.approx(0.04, abs=0.002)
    assert (found["smallest_difference"], found["verdict"]) == (0.015, "right larger")


def test_smallest_difference_of_the_season_goes_before_the_metric_s_and_the_convention():
    table = run([0.30, 0.31] * 4)
    own = {"contact_time_s": MetricSymmetry("index", "s", smallest_difference=4.0)}
    season = {"contact_time_s": SmallestDifference(3.1, "typical error of 6 sessions")}
    assert tuple(row(table)[["smallest_difference", "smallest_difference_source"]]) == (
        5.0,
        "convention, no source",
    )
    assert row(table, metrics=own)["smallest_difference"] == 4.0
    found = row(table, metrics=own, smallest=season)
    assert tuple(found[["smallest_difference", "smallest_difference_source"]]) == (
        3.1,
        "typical error of 6 sessions",
    )


def test_without_a_common_clock_each_foot_stands_alone():
    flagged = run([0.40, 0.33, 0.30, 0.33], flags=["", "no_glide;clocks_not_synchronised", np.nan, ""])
    found = row(flagged)
    assert (found["verdict"], found["advice"], found["scope"]) == ("not measured", "join_clocks", "")
    assert found["left_mean"] == pytest.approx(0.35)
    assert (found["n_left"], found["n_right"], found["n_runs"]) == (2, 2, 1)
    assert np.isnan(found["symmetry_index_percent"])
    assert np.isnan(found["difference"])
    with_joined = row(flagged, run([0.30, 0.33, 0.30, 0.33], name="run-2"))
    assert (with_joined["n_runs"], with_joined["n_left"]) == (1, 2)


@pytest.mark.parametrize("sides", ["L", "R"])
def test_one_foot_only_is_not_measured(sides):
    found = row(run([0.30, 0.31, 0.32], sides=sides))
    assert (found["verdict"], found["advice"]) == ("not measured", "no_pairs")
    assert sorted([found["n_left"], found["n_right"]]) == [0, 3]


def test_no_pushes_and_a_column_that_is_missing_give_rows_all_the_same():
    empty = run([0.3]).iloc[:0]
    metrics = METRICS | {
        "edge_angle_deg": MetricSymmetry("difference", "deg"),
        "x": MetricSymmetry("none", ""),
    }
    table = symmetry_table(empty, set(), metrics, {})
    assert len(table) == 6
    assert set(table["verdict"]) == {"not measured"}
    assert row(run([0.3, 0.3, 0.3]), metrics={"edge_angle_deg": metrics["edge_angle_deg"]})["n_left"] == 0


def test_values_that_are_not_positive_have_no_index():
    found = row(run([-0.3, 0.1, -0.3, 0.1]))
    assert np.isnan(found["symmetry_index_percent"])
    assert found["verdict"] == "not measured"


def test_three_pushes_give_an_estimate_without_an_interval():
    found = row(run([0.30, 0.40, 0.30]))
    assert found["symmetry_index_percent"] == pytest.approx(28.571, abs=1e-3)
    assert np.isnan(found["ci_low_percent"])
    assert (found["verdict"], found["advice"]) == ("unclear", "more_runs")


def test_more_runs_narrow_the_interval_and_an_unclear_row_asks_for_more():
    def day(runs, first):
        return row(*[noisy(seed, spread=0.06) for seed in range(first, first + runs)])

    widths = [np.median([day(runs, 100 * i)["random_percent"] for i in range(9)]) for runs in (1, 3, 6, 12)]
    assert widths == sorted(widths, reverse=True)
    unclear = [found for i in range(9) if (found := day(3, 100 * i))["verdict"] == "unclear"]
    assert len(unclear) > 4
    advised = [found["runs_needed"] for found in unclear if found["advice"] == "more_runs"]
    assert len(advised) > 2
    assert all(pd.isna(needed) or needed > 3 for needed in advised)
