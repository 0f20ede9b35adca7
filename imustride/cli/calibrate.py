"""``imustride calibrate``: what a sensor's numbers mean, measured on a table; its commands are loaded when called."""

from __future__ import annotations

import click

from imustride.cli.lazy import Lazy

# Name of the command, and the module that holds it under the same name, in the order in which a laboratory uses them.
COMMANDS: dict[str, str] = {
    "positions": "imustride.cli.calibrate_positions",
    "turns": "imustride.cli.calibrate_turns",
    "history": "imustride.cli.calibrate_history",
    "noise": "imustride.cli.calibrate_noise",
}


@click.group(
    cls=Lazy,
    modules=COMMANDS,
    short_help="What a sensor's numbers mean, measured on a table.",
    epilog="Example: imustride calibrate positions table.csv --device S041",
)
def calibrate() -> None:
    """Make a device's calibration from recordings on a table, and see how it drifts from date to date."""
