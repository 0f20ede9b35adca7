"""``imustride calibrate history``: how a device drifts from date to date."""

from __future__ import annotations

from pathlib import Path

import click

from imustride.cli.talk import DONE, INCOMPLETE, Talk, talk_options


@click.command(
    short_help="How a device drifts from date to date.", epilog="Example: imustride calibrate history S042"
)
@click.argument("device")
@click.option(
    "--folder",
    type=click.Path(path_type=Path),
    default=Path("calibration"),
    show_default=True,
    help="Holds a folder for each device.",
)
@talk_options
def history(talk: Talk, device: str, folder: Path) -> int:
    """Show how the calibrations of DEVICE changed from date to date, with a verdict for each."""
    from imustride.calibration.history import read_history
    from imustride.cli import calibration_words as words
    from imustride.errors import CalibrationError

    found = read_history(folder, device)
    if not found.steps and not found.problems:
        message = f"{folder}: no calibration of device {device!r} there; make one with `imustride calibrate positions`"
        raise CalibrationError(message)
    for problem in found.problems:
        talk.problem(problem)
    talk.data({"device": device, "calibrations": [words.step_data(step) for step in found.steps]})
    talk.lines(words.history_lines(found))
    return INCOMPLETE if found.problems else DONE
