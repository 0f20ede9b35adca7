"""``imustride inspect``: what is in a file or a session."""

from __future__ import annotations

from pathlib import Path

import click

from imustride.cli.talk import DONE, Talk, talk_options


@click.command(
    short_help="What is in a session or a file.", epilog="Example: imustride inspect recordings/demo"
)
@click.argument("path", type=click.Path(path_type=Path))
@talk_options
def inspect(talk: Talk, path: Path) -> int:
    """Tell what is in a session folder or one file: rate, jitter, gaps, clipping, gravity, likely wrong units."""
    from imustride import pipeline

    found = pipeline.inspect(path)
    return DONE
