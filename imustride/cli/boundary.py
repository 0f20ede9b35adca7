"""The one place where an error becomes a line on stderr and an exit status."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING, NoReturn

import click

from imustride import __version__
from imustride.cli.analyse import analyse
from imustride.cli.calibrate import calibrate
from imustride.cli.check import check
from imustride.cli.environment import environment
from imustride.cli.export import export
from imustride.cli.failures import FAILURES, report
from imustride.cli.inspecting import inspect
from imustride.cli.metrics import metrics
from imustride.cli.prepare import prepare
from imustride.cli.schema import schema
from imustride.cli.season import season
from imustride.cli.simulate import simulate
from imustride.cli.talk import DONE, FAILED, USAGE, Talk

if TYPE_CHECKING:
    from collections.abc import Sequence


@click.group(
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Example: imustride analyse recordings/demo --out results",
)
@click.version_option(__version__, prog_name="imustride")
def commands() -> None:
    """From the logs of skate-mounted sensors to every push, timed, measured, left against right.

    Exit status: 0 done; 1 failed; 2 wrong usage; 3 some file or run could not be read, or a check failed.
    """


for command in (
    analyse,
    inspect,
    prepare,
    check,
    calibrate,
    season,
    export,
    simulate,
    metrics,
    schema,
    environment,
):
    commands.add_command(command)


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the command line and end the process with its exit status."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    # Matrix products shared among threads wait for each other on a busy machine, and gain little on an idle
    # one. numpy's libraries read this as they are loaded, which is not before a command runs.
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    sys.exit(run(arguments))


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; give the exit status."""
    talk = Talk()
    try:
        status = commands.main(args=arguments, prog_name="imustride", obj=talk, standalone_mode=False)
        sys.stdout.flush()
    except click.ClickException as error:
        error.show()
        return USAGE if isinstance(error, click.UsageError) else FAILED
    except click.Abort:
        talk.problem("stopped")
        return FAILED
    except BrokenPipeError:  # the reader of our output went away: nobody is left to tell
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return FAILED
    except FAILURES as error:
        return report(error, talk)
    return DONE if status is None else int(status)
