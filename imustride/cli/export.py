"""``imustride export``: sessions in open formats; its commands are loaded when called."""

from __future__ import annotations

import click

from imustride.cli.lazy import Lazy

# Name of the command, and the module that holds it under the same name.
COMMANDS: dict[str, str] = {
    "bids": "imustride.cli.export_bids",
    "c3d": "imustride.cli.export_c3d",
    "parquet": "imustride.cli.export_parquet",
    "captions": "imustride.cli.export_captions",
}


@click.group(
    cls=Lazy,
    modules=COMMANDS,
    short_help="Sessions in open formats.",
    epilog="Example: imustride export bids recordings/demo bids",
)
def export() -> None:
    """Write a session and its results in open formats, for other programs and other laboratories."""
