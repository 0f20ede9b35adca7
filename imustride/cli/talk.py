"""What a command says: results on stdout, talk on stderr; and how it ends."""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

DONE = 0
FAILED = 1
USAGE = 2
INCOMPLETE = 3  # some file or run could not be read, or a check failed

_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")
# Terminals and pipes in old encodings lack these.
_PLAIN = str.maketrans({"\N{MINUS SIGN}": "-", "\N{EN DASH}": "-"})


@dataclass(slots=True)
class Talk:
    """How much a command says, and in which form; set by the options of the command."""

    as_json: bool = False
    quiet: bool = False
    debug: bool = False

    def progress(self, text: str) -> None:
        """Say on stderr what is being done."""
        if not self.quiet:
            click.echo(one_line(text), err=True)

    def problem(self, text: str) -> None:
        """Say on stderr what went wrong; never silenced."""
        click.echo(f"imustride: {one_line(text)}", err=True)

    def lines(self, lines: Sequence[str]) -> None:
        """Print a readable result on stdout, unless it is wanted in another form or not at all."""
        if not (self.quiet or self.as_json):
            for line in lines:
                click.echo(one_line(line))

    def data(self, content: object) -> None:
        """Print a result on stdout as JSON, if that is wanted."""
        if self.as_json:
            click.echo(json.dumps(_plain(content), indent=2, ensure_ascii=False, allow_nan=False))


def one_line(text: str) -> str:
    """Return text without control characters, which a file name may carry to a terminal."""
    return _CONTROL.sub(" ", text).translate(_PLAIN)


def columns(rows: Sequence[Sequence[str]], right: Sequence[int] = ()) -> list[str]:
    """Return rows as lines of aligned columns, those of numbers (`right`) aligned to the right."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    sides = [str.rjust if place in right else str.ljust for place in range(len(widths))]
    return [
        "  ".join(side(cell, width) for side, cell, width in zip(sides, row, widths, strict=True)).rstrip()
        for row in rows
    ]


def _plain(value: Any) -> Any:
    """Return a value as what JSON has a form for; null where a number is missing."""
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if hasattr(value, "item"):  # a number of numpy
        return _plain(value.item())
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, str | int):
        return value
    return value.as_posix() if isinstance(value, Path) else str(value)


def talk_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the options that every command has."""
    for names, attribute, help_text in (
        (("--debug",), "debug", "Show the traceback of an error."),
        (("--quiet", "-q"), "quiet", "Print nothing but errors."),
        (("--json",), "as_json", "Print the result as JSON on stdout."),
    ):
        command = click.option(
            *names, attribute, is_flag=True, expose_value=False, callback=_remember, help=help_text
        )(command)
    return click.pass_obj(command)


def _remember(context: click.Context, parameter: click.Parameter, value: bool) -> None:  # noqa: FBT001 - click calls it
    if value and parameter.name is not None:
        setattr(context.obj, parameter.name, True)


def dry_run_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command that writes the option to show what it would do."""
    return click.option("--dry-run", is_flag=True, help="Do everything but write.")(command)
