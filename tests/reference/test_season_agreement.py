"""Agreement and reliability against published tables and against pingouin and statsmodels."""

import numpy as np
import pandas as pd
import pingouin
import pytest
from statsmodels.stats.inter_rater import fleiss_kappa
from statsmodels.stats.proportion import proportion_confint

from imustride.season.agreement import icc_agreement, icc_forms, limits_of_agreement, one_way, two_way
from imustride.season.reliability import BETWEEN, reliability
from imustride.season.sides import share_of, side_agreement

# Shrout and Fleiss 1979, Psychol. Bull. 86:420-428: six targets, four judges (table from memory; it gives the
# published coefficients). To two decimals as published, to four recomputed from the published formulas.
SHROUT_FLEISS = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], dtype=float
)
SHROUT_FLEISS_ICC = {
    "ICC(1,1)": (0.17, 0.1657),
    "ICC(2,1)": (0.29, 0.2898),
    "ICC(3,1)": (0.71, 0.7148),
    "ICC(1,k)": (0.44, 0.4428),
    "ICC(2,k)": (0.62, 0.6201),
    "ICC(3,k)": (0.91, 0.9093),
}
# Weir 2005, J. Strength Cond. Res. 19:231-240, doi 10.1519/15184.1, data set A (from memory); values
# recomputed from the published formulas.
WEIR = np.array(
    [[146, 140], [148, 152], [170, 152], [90, 99], [157, 145], [156, 153], [176, 167], [205, 218]],
    dtype=float,
)
# Bland and Altman 1986, Lancet 327:307-310: peak expiratory flow, first reading of either meter (data from memory).
WRIGHT = np.array([494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427.0])
MINI = np.array([512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451.0])


def seasons_of(table):
    """Targets as athletes, repeats as sessions of one run."""
    athlete, session = np.indices(table.shape).reshape(2, -1)
    return pd.DataFrame({
        "athlete": [f"A{k}" for k in athlete],
        "date": pd.Timestamp("2026-09-01") + pd.to_timedelta(session, unit="D"),
        "session": [f"S{k}" for k in session],
        "run": "r1",
        "phase": "all",
        "n": 20,
        "value": table.ravel(),
    })  # fmt: skip


def test_mean_squares_of_shrout_and_fleiss():
    two = two_way(SHROUT_FLEISS)
    within = one_way(np.repeat(np.arange(6), 4), SHROUT_FLEISS.ravel()).within
    assert [two.rows, within, two.columns, two.left] == pytest.approx(
        [11.2417, 6.2639, 32.4861, 1.0194], abs=5e-5
    )


def test_six_coefficients_of_shrout_and_fleiss():
    found = icc_forms(SHROUT_FLEISS).set_index("form")["value"]
    for form, (published, recomputed) in SHROUT_FLEISS_ICC.items():
        assert found[form] == pytest.approx(published, abs=0.005)
        assert found[form] == pytest.approx(recomputed, abs=5e-5)


def pingouin_icc(table):
    """pingouin's coefficients by Shrout and Fleiss's names, whichever names its version prints."""
    target, judge = np.indices(table.shape).reshape(2, -1)
    long = pd.DataFrame({"target": target, "judge": judge, "value": table.ravel()})
    rows = pingouin.intraclass_corr(long, targets="target", raters="judge", ratings="value").set_index("Type")
    names = {
        "ICC(1,1)": ("ICC1", "ICC(1,1)"),
        "ICC(2,1)": ("ICC2", "ICC(A,1)"),
        "ICC(3,1)": ("ICC3", "ICC(C,1)"),
        "ICC(1,k)": ("ICC1k", "ICC(1,k)"),
        "ICC(2,k)": ("ICC2k", "ICC(A,k)"),
        "ICC(3,k)": ("ICC3k", "ICC(C,k)"),
    }
    interval = next(column for column in rows.columns if column.startswith("CI95"))
    for form, either in names.items():
        row = rows.loc[next(name for name in either if name in rows.index)]
        yield form, row["ICC"], *row[interval]


@pytest.mark.filterwarnings("ignore:The inplace keyword")  # pingouin 0.7 under pandas 3.1
@pytest.mark.parametrize(
    "table",
    [SHROUT_FLEISS, WEIR, np.random.default_rng(3).normal(10.0, 1.0, (12, 5))],
    ids=["S+F", "W", "noise"],
)
def test_coefficients_and_intervals_against_pingouin(table):
    found = icc_forms(table).set_index("form")
    for form, value, low, high in pingouin_icc(table):
        assert found.loc[form, "value"] == pytest.approx(value, abs=1e-6)
        # pingouin rounds intervals to two decimals
        assert found.loc[form, "ci_low"] == pytest.approx(low, abs=0.0051)
        assert found.loc[form, "ci_high"] == pytest.approx(high, abs=0.0051)


def test_wines_against_pingouin_measured(open_data):
    # pingouin 0.7.0 on its own data set icc.csv (README of the data).
    table = pd.read_csv(open_data("stats_reference") / "icc.csv").pivot_table(
        index="Wine", columns="Judge", values="Scores"
    )
    found = icc_forms(table.to_numpy(dtype=float)).set_index("form")["value"]
    assert found[list(SHROUT_FLEISS_ICC)].tolist() == pytest.approx(
        [0.7275, 0.7277, 0.7295, 0.9144, 0.9145, 0.9152], abs=5e-5
    )


def test_a_missing_cell_is_refused_where_pingouin_drops_the_target():
    table = SHROUT_FLEISS.copy()
    table[2, 1] = np.nan
    with pytest.raises(ValueError, match="a cell of the table is missing"):
        icc_forms(table)


def test_season_of_weir():
    found = reliability(seasons_of(WEIR))
    of_sessions = found[found["scope"] == BETWEEN].set_index("quantity")
    sem = of_sessions.loc["typical error", "value"]  # Weir: square root of the error mean square
    assert sem == pytest.approx(7.557, abs=5e-4)
    assert sem * 1.96 * np.sqrt(2.0) == pytest.approx(20.947, abs=1e-3)
    icc = of_sessions.set_index(of_sessions["form"].str[:8])["value"]
    assert icc[["ICC(1,1)", "ICC(2,1)", "ICC(3,1)"]].tolist() == pytest.approx(
        [0.9501, 0.9500, 0.9470], abs=5e-5
    )
    # Weir's mean squares give the all-in SEM: (7 x 57.107 + 30.25) / 8 within subjects.
    within = (7 * 57.107 + 30.25) / 8
    assert of_sessions.loc["standard error of measurement", "value"] == pytest.approx(
        np.sqrt(within), abs=1e-4
    )
    assert of_sessions.loc["minimal detectable change", "value"] == pytest.approx(
        1.96 * np.sqrt(2.0 * within), abs=1e-3
    )


def test_typical_error_of_hopkins_is_the_spread_of_differences():
    # Hopkins 2000, Sports Med. 30:1-15: SD of the differences over sqrt(2), of two trials.
    found = reliability(seasons_of(WEIR))
    typical = found[(found["scope"] == BETWEEN) & (found["quantity"] == "typical error")]["value"].item()
    assert typical == pytest.approx(np.std(WEIR[:, 1] - WEIR[:, 0], ddof=1) / np.sqrt(2.0))


def test_limits_of_bland_and_altman():
    found = limits_of_agreement(MINI, WRIGHT)
    assert found["difference"].value == pytest.approx(-2.118, abs=5e-4)
    assert [found["lower"].value, found["upper"].value] == pytest.approx([-78.10, 73.86], abs=5e-3)
    # Published with 2 in place of 1.96 (-79.7, 75.5), and intervals by t(16) = 2.12: -22.0 to 17.8 for the
    # difference, -114.3 to -45.1 and 40.9 to 110.1 for the limits; from SD 38.8 and standard error 16.3, rounded.
    shift = 0.04 * 38.765
    for name, published, moved in (
        ("difference", (-22.0, 17.8), 0.0),
        ("lower", (-114.3, -45.1), -shift),
        ("upper", (40.9, 110.1), shift),
    ):
        assert [found[name].low + moved, found[name].high + moved] == pytest.approx(published, abs=0.2)


def test_limits_against_pingouin_measured(open_data):
    pairs = pd.read_csv(open_data("stats_reference") / "blandaltman.csv")
    found = limits_of_agreement(pairs["B"].to_numpy(float), pairs["A"].to_numpy(float))
    assert [found[key].value for key in ("difference", "lower", "upper")] == pytest.approx(
        [-27.16667, -95.38633, 41.05299],
        abs=2e-3,  # pingouin takes 1.96
    )


def test_kappa_against_statsmodels():
    rng = np.random.default_rng(6)
    level = rng.normal(0.0, 1.0, (20, 1)) + rng.normal(0.0, 1.0, (20, 8))
    table = pd.DataFrame({"athlete": np.repeat(np.arange(20), 8), "level": level.ravel()})
    right = (level > 0.0).sum(axis=1)
    assert side_agreement(table).value == pytest.approx(fleiss_kappa(np.stack([right, 8 - right], axis=1)))


@pytest.mark.parametrize(("part", "whole"), [(0, 5), (3, 8), (8, 8), (11, 30)])
def test_exact_interval_against_statsmodels(part, whole):
    found = share_of(part, whole)
    assert (found.low, found.high) == pytest.approx(proportion_confint(part, whole, 0.05, "beta"), abs=1e-9)


def test_agreement_needs_no_rounding():
    assert icc_agreement(two_way(SHROUT_FLEISS)).low == pytest.approx(0.02, abs=0.005)  # measured: .02 to .76
    assert icc_agreement(two_way(SHROUT_FLEISS)).high == pytest.approx(0.76, abs=0.005)
