"""``imustride calibrate``: what a sensor's numbers mean, measured on a table; its commands are loaded when called."""

from __future__ import annotations

import importlib

import click

# Name of the command, and the module that holds it under the same name.
COMMANDS: dict[str, str] = {
    "positions": "imustride.cli.calibrate_positions",
    "turns": "imustride.cli.calibrate_turns",
    "history": "imustride.cli.calibrate_history",
    "noise": "imustride.cli.calibrate_noise",
}


class Lazy(click.Group):
    """A group that imports a command when it is called or listed, not before."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - as click calls it
        """Return the names in the order in which a laboratory uses them."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import one command; None where there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = getattr(importlib.import_module(COMMANDS[cmd_name]), cmd_name)
        return command


@click.group(
    cls=Lazy,
    short_help="What a sensor's numbers mean, measured on a table.",
    epilog="Example: imustride calibrate positions table.csv --device S041",
)
def calibrate() -> None:
    """Make a device's calibration from recordings on a table, and see how it drifts from date to date."""
