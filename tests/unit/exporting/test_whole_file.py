import pytest

from imustride.exporting.swap import write_whole


def test_folders_on_the_way_are_made_and_nothing_else_is_left(tmp_path):
    path = tmp_path / "S042" / "a.toml"
    write_whole(path, "one\n")
    write_whole(path, "two\n")
    assert path.read_bytes() == b"two\n"
    assert list(path.parent.iterdir()) == [path]


@pytest.mark.parametrize("before", [None, "one"])
def test_an_interrupted_write_leaves_what_was_there(tmp_path, monkeypatch, before):
    path = tmp_path / "a.toml"
    if before is not None:
        path.write_text(before, encoding="utf-8")

    def fail(*_, **__):
        message = "disk full"
        raise OSError(message)

    monkeypatch.setattr("os.fdopen", fail)
    with pytest.raises(OSError, match="disk full"):
        write_whole(path, "two")
    assert [(entry.name, entry.read_text(encoding="utf-8")) for entry in tmp_path.iterdir()] == (
        [] if before is None else [("a.toml", before)]
    )
