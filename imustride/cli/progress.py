"""Progress bars on stderr."""

from __future__ import annotations

import shutil
import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

from imustride.cli.talk import one_line

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

_ERASE_LINE = "\r\x1b[K"
_MARKS = 30  # of a whole bar


class Bar:
    """What moves a bar; without one to move it does nothing."""

    def __init__(self, bar: Any = None) -> None:
        self._bar = bar

    @property
    def shown(self) -> bool:
        """Whether there is a bar."""
        return self._bar is not None

    def step(self, text: str) -> None:
        """Move on by one, with a few words beside it."""
        if self._bar is not None:
            self._bar.update(1, text)

    def clear(self) -> None:
        """Take the bar off its line, for something else to be said; the next step draws it again."""
        if self._bar is not None:
            click.echo(_ERASE_LINE, err=True, nl=False, color=True)


class _Terminal:
    """The stream of errors, taken for a terminal: so that a bar is drawn where it is asked for."""

    def isatty(self) -> bool:
        return True

    def __getattr__(self, name: str) -> Any:
        return getattr(sys.stderr, name)


@contextmanager
def progress_bar(length: int, *, shown: bool) -> Iterator[Bar]:
    """Give a bar of so many steps while the body runs."""
    if not shown:
        yield Bar()
        return
    file: Any = _Terminal()
    with click.progressbar(
        length=length, label="analysing", show_pos=True, item_show_func=lambda text: text, file=file
    ) as bar:
        yield Bar(bar)


@contextmanager
def counting(label: str, *, shown: bool) -> Iterator[Callable[[str, int, int], None]]:
    """Give what draws on a terminal how many of how many files are begun, and how far the present one is.

    Elsewhere, or where it is not to be shown, it gives what does nothing.
    """
    if not (shown and sys.stderr.isatty()):
        yield lambda *_: None
        return

    def draw(text: str, number: int, count: int) -> None:
        done = "#" * (_MARKS * number // max(count, 1))
        line = f"{label} [{done:-<{_MARKS}}] {number}/{count} {one_line(text)}"
        # A line that wraps round cannot be erased.
        width = shutil.get_terminal_size().columns - 1
        click.echo(_ERASE_LINE + line[:width], err=True, nl=False, color=True)

    try:
        yield draw
    finally:
        click.echo(_ERASE_LINE, err=True, nl=False, color=True)
