"""A progress bar on stderr."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Iterator

_ERASE_LINE = "\r\x1b[K"


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
