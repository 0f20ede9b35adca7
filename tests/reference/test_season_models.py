"""Analysis of variance against NIST's certified sets; steps, corrections and components against statsmodels."""

import re

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
import statsmodels.formula.api as smf
from statsmodels.regression.mixed_linear_model import MixedLM
from statsmodels.stats.multitest import multipletests

from imustride.season.agreement import one_way
from imustride.season.change import holm
from imustride.season.components import MeanSquare
from imustride.season.reliability import between_athletes
from imustride.season.repeats import session_repeats
from imustride.season.steps import all_steps

# NIST/ITL StRD, one-way analysis of variance: name and digits of F that must hold. The last set has 13 leading
# digits in common, so that the numbers themselves hold only three of the scatter.
NIST_ANOVA = [("SiRstv", 11), ("SmLs01", 13), ("AtmWtAg", 8), ("SmLs04", 8), ("SmLs07", 2)]


def read_anova(path):
    """Groups, values, and the certified mean squares and F."""
    lines = path.read_text(encoding="ascii").splitlines()
    first = int(re.search(r"Data\s+\(lines (\d+) to", "\n".join(lines)).group(1))
    data = np.array([[float(word) for word in line.split()] for line in lines[first - 1 :] if line.strip()])
    between = next(line for line in lines if line.startswith("Between")).split()
    within = next(line for line in lines if line.startswith("Within")).split()
    return data[:, 0].astype(int) - 1, data[:, 1], float(between[-2]), float(within[-1]), float(between[-1])


@pytest.mark.parametrize(("name", "digits"), NIST_ANOVA)
def test_analysis_of_variance_of_nist(open_data, name, digits):
    group, value, between, within, ratio = read_anova(open_data("stats_reference") / f"{name}.dat")
    found = one_way(group, value)
    assert found.between == pytest.approx(between, rel=10.0**-digits)
    assert found.within == pytest.approx(within, rel=10.0**-digits)
    assert found.between / found.within == pytest.approx(ratio, rel=10.0**-digits)


def test_the_reference_for_regression_holds_nist(open_data):
    # Norris, NIST/ITL StRD: what the steps below are held against is itself held against certified values.
    lines = (open_data("stats_reference") / "Norris.dat").read_text(encoding="ascii").splitlines()[60:96]
    y, x = np.array([[float(word) for word in line.split()] for line in lines]).T
    fit = sm.OLS(y, sm.add_constant(x)).fit()
    assert fit.params == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-9)
    assert fit.bse == pytest.approx([0.232818234301152, 0.429796848199937e-03], rel=1e-9)
    assert np.sqrt(fit.scale) == pytest.approx(0.884796396144373, rel=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_every_step_is_a_weighted_regression(seed):
    rng = np.random.default_rng(seed)
    level, weight = rng.normal(3.0, 1.0, 9), rng.uniform(0.5, 2.0, 9)
    steps = all_steps(level, weight)
    for k, (start, stop) in enumerate(zip(steps.start, steps.stop, strict=True)):
        inside = (np.arange(9) >= start) & (np.arange(9) < stop)
        fit = sm.WLS(level, sm.add_constant(inside.astype(float)), weights=weight).fit()
        assert steps.size[k] == pytest.approx(fit.params[1])
        assert steps.left_over[k] == pytest.approx(fit.ssr)
        assert steps.spread[k] == pytest.approx(fit.normalized_cov_params[1, 1])


def test_correction_of_holm_against_statsmodels():
    rng = np.random.default_rng(8)
    for size in (1, 2, 6):
        p = rng.random(size) ** 3
        np.testing.assert_allclose(holm(p, size), multipletests(p, method="holm")[1])


def grown(seed, between=2.0, athletes=20, sessions=8):
    rng = np.random.default_rng(seed)
    level = rng.normal(0.0, between, (athletes, 1)) + rng.normal(0.0, 1.0, (athletes, sessions))
    day = np.arange(sessions)
    return pd.DataFrame({
        "athlete": np.repeat([f"A{k}" for k in range(athletes)], sessions),
        "date": pd.Timestamp("2026-09-01") + pd.to_timedelta(np.tile(day, athletes), unit="D"),
        "level": level.ravel(),
    })  # fmt: skip


@pytest.mark.parametrize(("seed", "between"), [(0, 2.0), (1, 2.0), (2, 0.6)])
def test_components_are_those_of_the_mixed_model(seed, between):
    """Balanced sessions: restricted likelihood has a closed form, the analysis of variance."""
    levels = grown(seed, between)
    sessions = session_repeats(levels)
    within, athletes = sessions.sem().value, between_athletes(sessions).value
    # lbfgs alone was found to return wrong effects without failing: two other searches, one after the other.
    fit = MixedLM(levels["level"], np.ones(len(levels)), groups=levels["athlete"]).fit(
        reml=True, method=["bfgs", "powell"]
    )
    assert within == pytest.approx(fit.scale, rel=1e-3)
    assert (athletes - within) / sessions.size == pytest.approx(float(fit.cov_re.iloc[0, 0]), rel=5e-3)


def test_typical_error_is_the_residual_of_athletes_and_days_with_gaps():
    levels = grown(4).sample(frac=0.8, random_state=1).sort_values(["athlete", "date"])
    fit = smf.ols("level ~ C(athlete) + C(date)", levels.assign(date=levels["date"].astype(str))).fit()
    typical = session_repeats(levels).typical()
    assert typical.value == pytest.approx(fit.scale)
    assert typical.freedom <= fit.df_resid


def test_degrees_of_freedom_are_whole_where_athletes_are_alike():
    assert MeanSquare(1.0, 10.0).over(4.0) == MeanSquare(4.0, 10.0)
    found = session_repeats(grown(5, athletes=200)).sem()
    assert found.freedom == pytest.approx(200 * 7, rel=0.15)
