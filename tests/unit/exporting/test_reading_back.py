import numpy as np
import pandas as pd
import pytest

from imustride.errors import FileFormatError
from imustride.exporting import write_results
from imustride.exporting.reading_back import read_results


@pytest.fixture
def out(tmp_path, result):
    write_results(result, tmp_path / "results", {})
    return tmp_path / "results"


def test_tables_come_back_with_the_kinds_they_had(out, result):
    _, tables = read_results(out)
    for name, table in (
        ("pushes", result.pushes),
        ("runs", result.runs_table),
        ("symmetry", result.symmetry),
    ):
        assert tables[name].columns.tolist() == table.columns.tolist()
        assert len(tables[name]) == len(table)
    runs, pushes = tables["runs"], tables["pushes"]
    assert runs["usable"].tolist() == [True, True, False]
    assert runs["reason"].tolist()[:2] == ["", ""]
    assert runs["peak_speed_m_s"].dtype == np.float64
    assert pushes["flags"].tolist()[:3] == ["first_lift;standing_start", "standing_start", ""]
    assert pd.isna(pushes["blade_on_s"].iloc[1])
    assert pushes["push"].tolist() == result.pushes["push"].tolist()


def test_what_makes_sessions_comparable_is_told(out):
    facts = read_results(out)[0]["session"]
    assert (facts["athlete"], facts["date"], facts["name"]) == ("A07", "2026-10-03", "made-by-hand")
    assert (facts["protocol"], facts["surface"], facts["consent"]) == ("sprint-100ft", "ice", "guardian")
    assert [(skate["place"], skate["rate_hz"], skate["calibrated"]) for skate in facts["sensors"]] == [
        ("left_skate", 100.0, False),
        ("right_skate", 100.0, False),
    ]
    assert facts["runs"]["run-1"] == {"logs": ["l.csv", "r.csv"], "gates": None}


def test_a_changed_table_is_refused(out):
    (out / "runs.csv").write_text("run\n", encoding="utf-8")
    with pytest.raises(FileFormatError, match=r"runs\.csv: found sha256"):
        read_results(out)
