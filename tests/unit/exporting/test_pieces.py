"""Pieces of logs: every value comes back bit for bit, and a piece knows what it was cut from."""

import h5py
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from imustride.exporting.pieces import is_made_of, smallest, write_piece

MADE_OF = {"cut_from": "left.h5#/imu", "bytes": 12345.0, "from_s": 10.25, "to_s": 31.5}


@given(arrays(np.float64, st.integers(1, 20), elements=st.floats(allow_nan=True, allow_infinity=True)))
def test_every_value_comes_back(values):
    back = smallest(values).astype(np.float64)
    assert (back.view(np.uint64) == values.view(np.uint64))[~np.isnan(values)].all()
    assert (np.isnan(back) == np.isnan(values)).all()


@pytest.mark.parametrize(
    ("values", "kind"),
    [
        ([1.0, -32768.0], "int16"),
        ([40_000.0], "int32"),
        ([0.5, np.nan], "float32"),
        ([0.1], "float64"),
        ([-0.0], "float32"),
        ([1.7e15], "float64"),
    ],
)
def test_the_smallest_type_that_holds_them_is_taken(values, kind):
    assert smallest(np.array(values)).dtype.name == kind


def test_a_piece_is_known_again_by_what_it_was_cut_from(tmp_path):
    path = tmp_path / "left_skate.h5"
    assert not is_made_of(path, MADE_OF)
    write_piece(path, {"acc": np.arange(6.0).reshape(2, 3), "time": np.array([0.1, 0.2])}, MADE_OF)
    assert is_made_of(path, MADE_OF)
    assert not is_made_of(path, MADE_OF | {"to_s": 32.0})
    with h5py.File(path) as file:
        assert file["acc"].dtype == np.int16
        assert file["time"][:].tolist() == [0.1, 0.2]
    path.write_text("no piece")
    assert not is_made_of(path, MADE_OF)
