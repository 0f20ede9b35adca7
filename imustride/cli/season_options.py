"""Options that the commands of the season share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Callable

DAY = click.DateTime(["%Y-%m-%d"])


def store_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the option that names the store."""
    return click.option(
        "--store",
        "place",
        metavar="PLACE",
        help="File, or postgresql://user@host/database; default: IMUSTRIDE_STORE, else the user's own data.",
    )(command)


def day(value: dt.datetime | None) -> dt.date | None:
    """Return the day of an option."""
    return None if value is None else value.date()


def iso(value: dt.datetime | None) -> str | None:
    """Return the day of an option, ISO 8601."""
    return None if value is None else value.date().isoformat()


def today() -> dt.date:
    """Return the day it is here."""
    import datetime as dt

    return dt.datetime.now().astimezone().date()
