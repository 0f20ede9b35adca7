"""The researcher's example, on a small season: simulated, analysed, kept, compared, drawn."""

import importlib.util
from pathlib import Path

import pandas as pd
import pytest

EXAMPLE = Path(__file__).parents[2] / "recordings" / "season_example.py"
ATHLETES, SESSIONS = 3, 4


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    described = importlib.util.spec_from_file_location("season_example", EXAMPLE)
    example = importlib.util.module_from_spec(described)
    described.loader.exec_module(example)
    out = tmp_path_factory.mktemp("example") / "season"
    example.main([str(out), "--athletes", str(ATHLETES), "--sessions", str(SESSIONS), "--runs", "1"])
    return out


@pytest.mark.slow
def test_from_sessions_to_a_table_and_three_figures(made):
    table = pd.read_csv(made / "table.csv")
    assert len(table) == ATHLETES * 6
    assert set(table["verdict"]) <= {"real change", "unclear", "no change that matters"}
    assert table["sessions"].max() == SESSIONS
    assert [(made / f"figure-{number}.png").stat().st_size > 5000 for number in (1, 2, 3)] == [True] * 3


@pytest.mark.slow
def test_what_truly_changed_is_told(made):
    truth = pd.read_csv(made / "sessions" / "season.csv")
    assert len(truth) == ATHLETES * SESSIONS
    changed = truth.groupby("athlete")[["push_off_angular_velocity_percent", "contact_asymmetry_points"]]
    largest = changed.agg(lambda column: column.abs().max())
    assert largest.to_numpy().tolist() == [[0.0, 0.0], [15.0, 0.0], [0.0, 14.0]]
    first = truth[truth["date"] == truth["date"].min()]
    assert (first[list(largest.columns)] == 0.0).all(axis=None)
