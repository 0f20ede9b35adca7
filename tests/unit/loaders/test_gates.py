import numpy as np
import pytest

from imustride.errors import FileFormatError
from imustride.loaders import read_gates


@pytest.fixture
def write(tmp_path):
    def _write(text):
        (tmp_path / "gates.csv").write_text(text, encoding="utf-8")
        return tmp_path / "gates.csv"

    return _write


@pytest.mark.parametrize(
    "text",
    [
        "position_m,time_s\n0,0\n10,2.125\n30.48,5.01\n",
        "\ufefftime_s, position_m\n0,0\n2.125,10\n\n5.01,30.48",
    ],
)
def test_gates_are_read_by_name(write, text):
    position_m, time_s = read_gates(write(text))
    np.testing.assert_array_equal(position_m, [0, 10, 30.48])
    np.testing.assert_array_equal(time_s, [0, 2.125, 5.01])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "found columns none; wanted position_m,time_s"),
        ("metres,time_s\n0,0\n10,2\n", "found columns metres, time_s; wanted position_m,time_s"),
        ("position_m,time_s\n0,0\n", "found 1 gates; wanted at least two"),
        ("position_m,time_s\n0,0\n10,fast\n", "line 3, column time_s: found 'fast'; wanted a number"),
        ("position_m,time_s\n0,0\n10\n", "line 3, column time_s: found ''; wanted a number"),
        ("position_m,time_s\n0,0\n10,nan\n", "line 3, column time_s: found 'nan'"),
        ("position_m,time_s\n0,0\n10,2\n20,2\n", "rising in position and time"),
        ("position_m,time_s\n0,0\n10,2\n9,3\n", "rising in position and time"),
        (f"position_m,time_s\n{'0,0' * 50000}", "wanted a file of gates"),
    ],
)
def test_a_wrong_file_of_gates_is_named(write, text, message):
    with pytest.raises(FileFormatError, match=message):
        read_gates(write(text))


def test_a_missing_file_of_gates(tmp_path):
    with pytest.raises(FileFormatError, match=r"gates\.csv: no such file; wanted a file of gates"):
        read_gates(tmp_path / "gates.csv")


def test_gates_in_another_encoding(tmp_path):
    (tmp_path / "gates.csv").write_bytes(b"position_m,time_s\n0,0\n10,\xe4\n")
    with pytest.raises(FileFormatError, match="not UTF-8"):
        read_gates(tmp_path / "gates.csv")
