"""The bar that counts files: on a terminal alone, never wider than it, and gone in the end."""

import os
import sys

import pytest

from imustride.cli.progress import counting


@pytest.fixture
def on_terminal(capsys, monkeypatch):
    """Do something on a terminal of 60 columns, and give what that was sent."""

    def call(act):
        monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
        monkeypatch.setattr("shutil.get_terminal_size", lambda: os.terminal_size((60, 24)))
        act()
        return capsys.readouterr().err

    return call


def test_it_shows_which_of_how_many(on_terminal):
    def write():
        with counting("writing", shown=True) as told:
            told("A07/run-1/left.h5", 1, 3)
            told("A\n07", 3, 3)

    first, second, last = on_terminal(write).split("\r\x1b[K")[1:]
    assert first == "writing [##########--------------------] 1/3 A07/run-1/left"
    assert second == f"writing [{30 * '#'}] 3/3 A 07"
    assert last == ""


def test_it_is_gone_after_an_error_too(on_terminal):
    def write():
        with counting("writing", shown=True) as told:
            told("A07", 1, 630)
            return 1 / 0

    def write_in_vain():
        with pytest.raises(ZeroDivisionError):
            write()

    assert on_terminal(write_in_vain) == f"\r\x1b[Kwriting [{30 * '-'}] 1/630 A07\r\x1b[K"


@pytest.mark.parametrize("shown", [True, False])
def test_elsewhere_it_says_nothing(capsys, monkeypatch, shown):
    monkeypatch.setattr(sys.stderr, "isatty", lambda: not shown)
    with counting("reading", shown=shown) as told:
        told("A07", 1, 1)
    assert capsys.readouterr().err == ""
