"""The file of signals is the same to the byte, whatever else goes on in the process."""

import h5py
import numpy as np

from imustride.exporting import signals


def test_the_same_data_give_the_same_bytes_whenever_a_handle_is_closed(result, tmp_path, monkeypatch):
    signals.write_signals(result, tmp_path / "at_once.h5")
    handles, write = [], signals._write_array

    def kept(*arguments):
        handles.insert(0, write(*arguments))
        return handles[0]

    monkeypatch.setattr(signals, "_write_array", kept)
    signals.write_signals(result, tmp_path / "late.h5")
    assert handles
    assert (tmp_path / "late.h5").read_bytes() == (tmp_path / "at_once.h5").read_bytes()


def test_stored_quaternions_are_of_unit_length_but_for_the_rounding_to_counts(result, tmp_path):
    # Half a count in each of four numbers is at most one count in length, of 32767 to the largest number, which is at most 1.
    signals.write_signals(result, tmp_path / "signals.h5")
    with h5py.File(tmp_path / "signals.h5") as file:
        for side in ("left", "right"):
            stored = file[f"runs/run-1/{side}/orientation"]
            length = np.linalg.norm(stored[:] * stored.attrs["scale"], axis=1)
            np.testing.assert_allclose(length, 1.0, rtol=0, atol=1 / 32767)
