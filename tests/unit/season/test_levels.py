import numpy as np
import pandas as pd
import pytest

from imustride.errors import SettingsError
from imustride.season.levels import group_values, session_levels

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


def group(gap=()):
    """Athletes at 0, 10 and 20; days 0, 1, 5; nobody is off."""
    rows = [
        (
            f"A{a}",
            pd.Timestamp("2026-09-01") + pd.Timedelta(days=d),
            f"S{d}",
            "r1",
            "all",
            20,
            10.0 * a + change,
        )
        for a in range(3)
        for d, change in enumerate([0.0, 1.0, 5.0])
        if (a, d) not in gap
    ]
    return pd.DataFrame(rows, columns=["athlete", "date", "session", "run", "phase", "n", "value"])


@pytest.mark.parametrize("gap", [(), [(0, 2)], [(0, 0), (2, 1)]])
def test_a_missing_athlete_does_not_shift_the_group(gap):
    found = session_levels(group_values(group(gap)))
    assert found["athlete"].unique().tolist() == ["group"]
    np.testing.assert_allclose(found["level"].diff()[1:], [1.0, 4.0], atol=1e-9)
    assert found["runs"].sum() == 9 - len(gap)


def test_athletes_without_a_day_in_common_are_no_group():
    values = group()
    values.loc[values["athlete"] == "A1", "date"] += pd.Timedelta(days=100)
    with pytest.raises(SettingsError, match="share no day with the others"):
        group_values(values)
