import numpy as np
import pandas as pd
import pytest

from imustride.season.components import MeanSquare, of_difference, of_sum
from imustride.season.levels import session_levels
from imustride.season.reliability import BETWEEN, WITHIN, own_typical_error, reliability


def frame(table, runs=((0.0,),)):
    """Athletes by sessions, each session with runs at these offsets."""
    rows = [
        (
            f"A{a}",
            pd.Timestamp("2026-09-01") + pd.Timedelta(days=s),
            f"S{s}",
            f"r{r}",
            "all",
            20,
            level + off,
            2011,
        )
        for a, course in enumerate(table)
        for s, level in enumerate(course)
        for r, off in enumerate(runs[(a + s) % len(runs)])
    ]
    return pd.DataFrame(
        rows, columns=["athlete", "date", "session", "run", "phase", "n", "value", "birth_year"]
    )


def figure(found, scope, quantity, form=""):
    rows = found[(found["scope"] == scope) & (found["quantity"] == quantity)]
    return rows[rows["form"].str.startswith(form)].iloc[0]


PAIRS = [[1.0, 3.0], [7.0, 5.0], [9.0, 9.0], [2.0, 4.0]]


def test_session_to_session_worked_out_on_paper():
    # Differences 2 -2 0 2: squares within 2 + 2 + 0 + 2 on four; their SD 1, over sqrt(2) (Hopkins 2000).
    found = reliability(frame(PAIRS))
    sem = figure(found, BETWEEN, "standard error of measurement")
    typical = figure(found, BETWEEN, "typical error")
    assert sem["value"] == pytest.approx(np.sqrt(6 / 4))
    assert typical["value"] == pytest.approx(np.std([2.0, -2.0, 0.0, 2.0], ddof=1) / np.sqrt(2.0))
    change = figure(found, BETWEEN, "minimal detectable change")
    assert change["value"] == pytest.approx(1.959964 * np.sqrt(2.0) * np.sqrt(6 / 4))
    assert (found["sessions"] == 8).all()


def test_run_to_run_worked_out_on_paper():
    # Two runs 1 either side of each session: squares 2 on one degree of freedom, in all eight sessions.
    found = reliability(frame(PAIRS, runs=((-1.0, 1.0), (1.0, -1.0))))
    assert figure(found, WITHIN, "standard error of measurement")["value"] == pytest.approx(np.sqrt(2.0))
    assert figure(found, WITHIN, "standard error of measurement")["freedom"] == pytest.approx(8.0)
    # Half of the sessions rise and half fall: the order of the runs explains nothing, and costs one.
    assert figure(found, WITHIN, "typical error")["value"] == pytest.approx(np.sqrt(16 / 7))


def test_variation_is_that_of_the_logarithms():
    ratio = [[np.exp(0.1 * x) for x in course] for course in PAIRS]
    found = figure(reliability(frame(ratio)), BETWEEN, "coefficient of variation [%]")
    assert found["value"] == pytest.approx(100.0 * (np.exp(0.1 * np.sqrt(6 / 4)) - 1.0))


def test_smallest_worthwhile_change_on_paper():
    # Means 2 6 9 3: variance 10; less 1.5 / 2 of noise.
    found = figure(reliability(frame(PAIRS)), BETWEEN, "smallest worthwhile change")
    assert found["value"] == pytest.approx(0.2 * np.sqrt(10.0 - 0.75))
    assert found["ci_low"] < found["value"] < found["ci_high"]


def test_what_a_signed_metric_has_not():
    found = reliability(frame(PAIRS), signed=True)
    for quantity in ("coefficient of variation [%]", "smallest worthwhile change"):
        row = figure(found, BETWEEN, quantity)
        assert np.isnan(row["value"])
        assert row["reason"].startswith("signed")


@pytest.mark.parametrize(
    ("years", "said"),
    [
        (None, "birth years not known"),
        ([2008, 2008, 2012, 2012, 2012, 2012, 2013, 2013], "athletes born 2008 to 2013"),
    ],
)
def test_nothing_is_worthwhile_across_ages(years, said):
    values = frame(PAIRS).drop(columns="birth_year")
    if years:
        values["birth_year"] = years
    row = figure(reliability(values), BETWEEN, "smallest worthwhile change")
    assert np.isnan(row["value"])
    assert said in row["reason"]


def test_too_little_data_is_said_for_every_figure():
    found = reliability(frame([[1.0, 2.0], [3.0, 5.0]]))
    assert found["value"].isna().all()
    assert (found["reason"] != "").all()


def test_one_run_a_session_tells_nothing_of_runs():
    found = reliability(frame(PAIRS))
    assert found[found["scope"] == WITHIN]["value"].isna().all()
    assert found[(found["scope"] == BETWEEN)]["value"].notna().all()


def test_days_nobody_shares_tell_no_typical_error():
    values = frame(PAIRS)
    values["date"] = pd.Timestamp("2026-01-01") + pd.to_timedelta(np.arange(len(values)), unit="D")
    found = reliability(values)
    assert figure(found, BETWEEN, "typical error")["reason"] == "no day in common"
    assert figure(found, BETWEEN, "standard error of measurement")["value"] == pytest.approx(np.sqrt(6 / 4))


def test_forms_of_a_complete_table_and_of_an_incomplete_one():
    values = frame(PAIRS)
    assert {form[:8] for form in reliability(values)["form"] if form.startswith("ICC")} == {
        "ICC(1,1)",
        "ICC(1,k)",
        "ICC(2,1)",
        "ICC(3,1)",
    }
    values.loc[3, "value"] = np.nan
    gap = reliability(values)
    assert {form[:8] for form in gap["form"] if form.startswith("ICC")} == {"ICC(1,1)", "ICC(1,k)"}
    assert (gap["athletes"] == 4).all()  # nobody is dropped for one missing session


def test_own_typical_error_is_of_successive_sessions():
    # 0 1 0 1 | 10 11 10 11: successive differences squared 1 1 1 81 1 1 1, mean 87/7, half of it.
    levels = session_levels(frame([[0.0, 1.0, 0.0, 1.0, 10.0, 11.0, 10.0, 11.0]]))
    found = own_typical_error(levels)
    assert found.value == pytest.approx(np.sqrt(87 / 14))
    assert found.value < levels["level"].std()
    assert found.freedom == pytest.approx(2 * 49 / 20)
    assert found.form == "own typical error, 8 sessions"
    assert np.isnan(own_typical_error(levels[:4]).value)
    assert own_typical_error(levels[:1]).reason


def test_interval_of_one_mean_square_is_chi_square():
    # Tabulated: chi-square with 10 degrees of freedom, 2.5 % 3.247, 97.5 % 20.483.
    assert of_sum(MeanSquare(2.0, 10.0)) == pytest.approx((2.0, 20 / 20.483, 20 / 3.247), rel=1e-4)


@pytest.mark.parametrize("small", [0.0, 0.5, 0.9])
def test_intervals_of_sums_and_differences_hold_the_truth(small):
    rng = np.random.default_rng(int(10 * small))
    held = []
    for one, other in zip(rng.chisquare(9, 2000) / 9, small * rng.chisquare(20, 2000) / 20, strict=True):
        parts = MeanSquare(one, 9.0), MeanSquare(other, 20.0)
        of_both = of_sum(*parts)
        held.append(of_both[1] <= 1.0 + small <= of_both[2])
        if small:
            apart = of_difference(*parts)
            held.append(apart[1] <= 1.0 - small <= apart[2])
    assert np.mean(held) == pytest.approx(0.95, abs=0.015)
