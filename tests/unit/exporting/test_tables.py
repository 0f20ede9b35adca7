import numpy as np
import pandas as pd
import pytest

from imustride.exporting.tables import csv_text


def cells(values, name="x", dtype=None):
    return csv_text(pd.DataFrame({name: pd.Series(values, dtype=dtype)})).splitlines()[1:]


def test_header_comma_and_line_feed():
    assert csv_text(pd.DataFrame({"a": [1], "b": ["x"]})) == "a,b\n1,x\n"


def test_times_carry_five_decimals():
    assert cells([1.23456789, np.nan, -0.0000001], "blade_on_s") == ["1.23457", '""', "0.00000"]


@pytest.mark.parametrize("name", ["blade_speed_m_s", "push_off_angular_velocity_deg_s"])
def test_a_rate_is_no_time(name):
    assert cells([523.456789], name) == ["523.457"]


def test_whole_numbers_carry_no_decimals_even_beside_missing_ones():
    assert cells([3.0, np.nan]) == ["3", '""']


def test_infinite_is_missing():
    assert cells([np.inf, 1.5]) == ['""', "1.5"]


def test_booleans_are_words():
    assert cells([True, False]) == ["true", "false"]
    assert cells([True, None], dtype=object) == ["true", '""']
    assert cells([True, None], dtype="boolean") == ["true", '""']


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx"])
def test_text_that_a_spreadsheet_would_run_is_disarmed(text):
    assert cells([text]) == [f"'{text}"]


def test_negative_numbers_stay_numbers():
    assert cells([-1.5, -2.0]) == ["-1.5", "-2"]
    assert cells([-3]) == ["-3"]


def test_text_with_a_comma_is_quoted():
    assert cells(['said "so", twice']) == ['"said ""so"", twice"']


def test_numbers_survive_the_round_trip(tmp_path):
    rng = np.random.default_rng(3)
    table = pd.DataFrame({"a_s": rng.normal(0, 10, 50), "b_deg": rng.normal(0, 500, 50)})
    path = tmp_path / "t.csv"
    path.write_text(csv_text(table), encoding="utf-8")
    back = pd.read_csv(path)
    np.testing.assert_allclose(back["a_s"], table["a_s"], atol=0.5e-5, rtol=0)
    np.testing.assert_allclose(back["b_deg"], table["b_deg"], rtol=5e-6)
