"""Rates over a few simulated seasons; tests/benchmark/season_change.py measures them over many."""

import numpy as np
import pandas as pd
import pytest

from imustride.season.change import judge_season
from imustride.season.levels import session_levels
from imustride.season.reliability import reliability
from tests.generators.seasons import Season, draw

SEASON = Season()


@pytest.fixture(scope="module")
def judged():
    """One metric of 300 athletes in ten seasons; the first six of a season take a step of twice what is detectable."""
    rng = np.random.default_rng(77)
    tables = []
    for _ in range(10):
        course = np.zeros((SEASON.athletes, SEASON.sessions))
        course[:6, 4:] = 2.0 * SEASON.detectable
        values, _, _ = draw(rng, SEASON, course)
        tables.append(judge_season({"m": values}))
    table = pd.concat(tables)
    return table.assign(steps=table["athlete"].str[1:].astype(int) < 6)


def test_few_unchanged_athletes_are_called_changed(judged):
    false = (judged[~judged["steps"]]["verdict"] == "real change").mean()
    assert 0.0 < false < 0.05 + 2.6 * np.sqrt(0.05 * 0.95 / 240)


def test_large_steps_are_found(judged):
    assert (judged[judged["steps"]]["verdict"] == "real change").mean() > 0.9


def test_intervals_hold_no_change(judged):
    null = judged[~judged["steps"] & judged["change"].notna()]
    held = ((null["change_ci_low"] <= 0.0) & (null["change_ci_high"] >= 0.0)).mean()
    assert held == pytest.approx(0.95, abs=2.6 * np.sqrt(0.05 * 0.95 / len(null)))


def test_error_of_measurement_is_the_simulated_one():
    values, _, session_sd = draw(
        np.random.default_rng(5), SEASON, np.zeros((SEASON.athletes, SEASON.sessions))
    )
    levels = session_levels(values)
    found = reliability(values).set_index(["scope", "quantity"])["value"]
    runs = len(levels) / np.sum(1.0 / levels["runs"])
    assert found.xs("standard error of measurement", level=1).tolist() == pytest.approx(
        [SEASON.run_sd, np.sqrt(np.mean(session_sd**2) + SEASON.run_sd**2 / runs)], rel=0.12
    )
