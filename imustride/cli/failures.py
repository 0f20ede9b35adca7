"""An expected error as one line and an exit status."""

from __future__ import annotations

import traceback
from typing import TYPE_CHECKING

import click

from imustride.cli.talk import FAILED, INCOMPLETE, USAGE
from imustride.errors import (
    CalibrationError,
    FileFormatError,
    ImustrideError,
    SettingsError,
    SignalQualityError,
)

if TYPE_CHECKING:
    from imustride.cli.talk import Talk

FAILURES = (ImustrideError, OSError)
STATUS = (
    (SettingsError, USAGE),
    ((FileFormatError, CalibrationError, SignalQualityError), INCOMPLETE),
)


def report(error: Exception, talk: Talk) -> int:
    """Say what went wrong, with the traceback where wanted; give the exit status."""
    if talk.debug:
        click.echo(traceback.format_exc(), err=True)
    talk.problem(said(error))
    return status_of(error)


def said(error: Exception) -> str:
    """Return an expected error as one line."""
    if isinstance(error, OSError) and error.filename is not None:
        return f"{error.filename}: {error.strerror}"
    return str(error)


def status_of(error: Exception) -> int:
    """Return the exit status of an error."""
    return next((status for kinds, status in STATUS if isinstance(error, kinds)), FAILED)
