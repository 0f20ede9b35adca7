"""A group of commands each of which is imported when it is called or listed, not before."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Mapping


class Lazy(click.Group):
    """A group that imports a command when it is called or listed, not before.

    Parameters
    ----------
    modules : mapping of str to str
        Name of the command, and the module that holds it under the same name, in the order of the help.
    """

    def __init__(self, *args: Any, modules: Mapping[str, str], **rest: Any) -> None:
        super().__init__(*args, **rest)
        self.modules = modules

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - as click calls it
        """Return the names in the order given."""
        return list(self.modules)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Import one command; None where there is none of that name."""
        if cmd_name not in self.modules:
            return None
        command: click.Command = getattr(importlib.import_module(self.modules[cmd_name]), cmd_name)
        return command
