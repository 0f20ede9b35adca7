"""One row a run out of the store, by hand."""

import numpy as np
import pandas as pd
import pytest

from imustride.keeping import named_family
from imustride.keeping.values import run_values
from imustride.season.adding import add_session
from imustride.season.family import SeasonSettings
from imustride.season.reading import Chosen
from imustride.season.store import open_store
from tests.kept_season import session

TODAY = pd.Timestamp("2026-11-01").date()
# Left, right in turn, rising by 0.01 a push; the right foot 0.02 more: the trend cancels in pairs.
CONTACT_S = 0.30 + 0.01 * np.arange(8) + np.where(np.arange(8) % 2, 0.02, 0.0)


@pytest.fixture
def store(tmp_path):
    made = session("A07", pd.Timestamp("2025-09-06"), [0.3, 0.3], 0.0, np.random.default_rng(0))
    pushes = made.tables["pushes"].groupby("run").head(8).reset_index(drop=True)
    pushes["phase"] = "later"
    pushes["contact_time_s"] = np.tile(CONTACT_S, 2)
    runs = made.tables["runs"].assign(usable=[True, False], gate_time_s=[4.5, 4.6])
    made.tables.update(pushes=pushes, runs=runs)
    store = open_store(str(tmp_path / "season.db"), create=True)
    add_session(store, made, today=TODAY)
    return store


def values(store, name, phase="later"):
    return run_values(store, named_family(SeasonSettings(phase=phase), (name,))[0], Chosen())


def test_the_mean_of_both_feet(store):
    table = values(store, "contact_time_s")
    left, right = CONTACT_S[::2].mean(), CONTACT_S[1::2].mean()
    assert table["value"].tolist() == pytest.approx([(left + right) / 2])
    assert table[["athlete", "session", "run", "phase", "n"]].iloc[0].tolist() == [
        "A07", "2025-09-06/evening", "run-1", "later", 8]  # fmt: skip
    assert table["date"].tolist() == [pd.Timestamp("2025-09-06")]


def test_right_against_left_without_the_trend(store):
    # Means of the feet over pairs of either order: the left is 0.33, the right 0.35, wherever the trend runs.
    table = values(store, "asymmetry:contact_time_s")
    assert table["value"].tolist() == pytest.approx([100 * 0.02 / 0.345], rel=1e-6)
    assert table["n"].tolist() == [8]


def test_a_column_of_the_run_and_a_run_that_does_not_count(store):
    table = values(store, "gate_time_s")
    assert (table["value"].tolist(), table["n"].tolist(), table["phase"].tolist()) == ([4.5], [16], ["all"])


def test_a_phase_without_pushes_and_a_column_nobody_wrote(store):
    for name, phase in (("asymmetry:contact_time_s", "acceleration"), ("edge_angle_deg", "later"), ("peak_speed_m_s", "all")):  # fmt: skip
        table = values(store, name, phase)
        assert len(table) == 1
        assert table["value"].isna().all()
