"""The file of signals is the same to the byte, whatever else goes on in the process."""

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
