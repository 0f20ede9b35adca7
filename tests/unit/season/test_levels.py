import numpy as np
import pandas as pd
import pytest

from imustride.errors import SettingsError
from imustride.season.levels import session_levels

VALUES = pd.DataFrame({
    "athlete": ["B", "A", "A", "A", "A"],
    "date": pd.to_datetime(["2026-10-01", "2026-10-08", "2026-10-01", "2026-10-01", "2026-10-01"]),
    "session": ["s1", "s2", "s1", "s1", "s1"],
    "run": ["r1", "r1", "r1", "r2", "r3"],
    "phase": "all",
    "n": [10, 11, 12, 13, 14],
    "value": [1.0, 5.0, 2.0, 4.0, np.nan],
})  # fmt: skip


def test_levels_worked_out_on_paper():
    found = session_levels(VALUES)
    assert found["athlete"].tolist() == ["A", "A", "B"]
    assert found["level"].tolist() == [3.0, 5.0, 1.0]
    assert found["squares"].tolist() == [2.0, 0.0, 0.0]
    assert found["runs"].tolist() == [2, 1, 1]  # the run without a value does not count
    assert found["pushes"].tolist() == [25, 11, 10]


@pytest.mark.parametrize(
    ("spoilt", "said"),
    [
        (VALUES.drop(columns="n"), "no column n"),
        (VALUES.assign(phase=["all", "later", "all", "all", "all"]), "2 phases"),
        (pd.concat([VALUES, VALUES[:1]]), "run r1 comes twice"),
    ],
)
def test_a_table_that_cannot_be_judged_is_refused(spoilt, said):
    with pytest.raises(SettingsError, match=said):
        session_levels(spoilt)
