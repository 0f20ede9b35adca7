"""What the commands that calibrate on a table share: their options, what they say, and the file they write."""

from __future__ import annotations

import csv
import datetime as dt
import re
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from imustride.cli.lone_file import FileOptions, file_options
from imustride.cli.talk import dry_run_option

if TYPE_CHECKING:
    from collections.abc import Callable

    from imustride.calibrating import Bench, Made
    from imustride.cli.talk import Talk

NAMELESS = "unknown"
SPAN = re.compile(r"(\d+(?:\.\d*)?|\.\d+)(?:\s*-\s*(\d+(?:\.\d*)?|\.\d+))?")
NAMES = ("device", "folder", "date", "times", "latitude", "height", "gravity", "replace", "anyway")


@dataclass(frozen=True, slots=True)
class BenchOptions:
    """What the command line says of a calibration on a table."""

    device: str | None
    folder: Path
    date: dt.datetime | None
    times: str | None
    latitude: float | None
    height: float
    gravity: float | None
    replace: bool
    anyway: bool
    file: FileOptions

    def bench(self, talk: Talk, file: str, *, needs_gravity: bool) -> Bench:
        """Return the recording and how to read it; gravity that nobody gave is told where it matters."""
        from imustride.calibrating import Bench
        from imustride.session_checks import split_group

        written, group = split_group(file)
        path = Path(written).absolute()
        sensor, notes = self.file.sensor(path, group, self.device or NAMELESS)
        gravity_m_s2, remark = self._gravity_m_s2()
        for note in (*notes, *(remark if needs_gravity else ())):
            talk.progress(f"note: {note}")
        return Bench(path, group, sensor, gravity_m_s2)

    def _gravity_m_s2(self) -> tuple[float, tuple[str, ...]]:
        from imustride.calibration import local_gravity_m_s2
        from imustride.constants import STANDARD_GRAVITY_M_S2

        if self.gravity is not None:
            return self.gravity, ()
        latitude = self.file.declaration().latitude_deg if self.latitude is None else self.latitude
        if latitude is not None:
            return local_gravity_m_s2(latitude, self.height), ()
        remark = (
            f"gravity taken as {STANDARD_GRAVITY_M_S2} m/s^2, which may be 0.3 % wrong where you are, and the scale "
            "with it; give --latitude"
        )
        return STANDARD_GRAVITY_M_S2, (remark,)

    def times_s(self) -> list[tuple[float, float]]:
        """Return the given times."""
        if self.times is None:
            return []
        if self.times.lower().endswith((".csv", ".txt")):
            return _times_of_file(Path(self.times))
        return [_span(part.strip(), "--times") for part in self.times.split(",")]


def bench_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the options of a calibration on a table, as one argument `options`."""

    @wraps(command)
    def joined(*args: Any, **kwargs: Any) -> Any:
        told = {name: kwargs.pop(name) for name in NAMES}
        return command(*args, options=BenchOptions(**told, file=kwargs.pop("file_options")), **kwargs)

    for names, more in (
        (("--anyway",), {"is_flag": True, "help": "Write although the numbers look like another device's."}),
        (("--replace",), {"is_flag": True, "help": "Replace what the file of that date says of the same."}),
        (("--gravity",), {"type": click.FloatRange(9.7, 9.9), "help": "Local gravity [m/s^2]."}),
        (("--height",), {"type": float, "default": 0.0, "help": "Above the sea [m], for gravity."}),
        (("--latitude",), {"type": click.FloatRange(-90, 90), "help": "For gravity [deg]."}),
        (
            ("--times",),
            {"metavar": "TIMES", "help": "12.5-16,20-24.5 [s], or a .csv with start_s,end_s; else found."},
        ),
        (
            ("--date",),
            {"type": click.DateTime(["%Y-%m-%d"]), "help": "Of the recording; else today."},
        ),
        (
            ("--folder",),
            {
                "type": click.Path(path_type=Path),
                "default": Path("calibration"),
                "show_default": True,
                "help": "Holds a folder for each device.",
            },
        ),
        (("--device",), {"help": "Name of the device; without it nothing is written."}),
    ):
        joined = click.option(*names, **more)(joined)
    return dry_run_option(file_options(joined))


def finish(talk: Talk, made: Made, options: BenchOptions, *, dry_run: bool) -> None:
    """Write the calibration where that is wanted, and say what was found."""
    from imustride.calibrating import place
    from imustride.cli import calibration_words as words
    from imustride.exporting.swap import write_whole

    for note in made.notes:
        talk.progress(f"note: {note}")
    date = dt.datetime.now().astimezone().date() if options.date is None else options.date.date()
    placed = None
    if options.device is not None:
        placed = place(made, options.folder, date, replace=options.replace, anyway=options.anyway)
        for problem in placed.problems:
            talk.problem(problem)
        if not dry_run:
            write_whole(placed.target.path, placed.target.text)
    written = placed is not None and not dry_run
    talk.data(words.as_data(made, placed, date, written=written))
    talk.lines(words.as_lines(made, placed, written=written))


def _times_of_file(path: Path) -> list[tuple[float, float]]:
    from imustride.errors import FileFormatError

    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    if not rows or not {"start_s", "end_s"} <= set(rows[0]):
        message = f"{path.name}: wanted a header start_s,end_s and one row a position; correct the file"
        raise FileFormatError(message)
    return [
        _span(f"{row['start_s']}-{row['end_s']}", f"{path.name}, row {number}")
        for number, row in enumerate(rows, start=2)
    ]


def _span(text: str, where: str) -> tuple[float, float]:
    from imustride.errors import SettingsError

    match = SPAN.fullmatch(text)
    begin = float(match[1]) if match else 0.0
    end = float(match[2]) if match and match[2] is not None else begin
    if match is None or end < begin:
        message = f"{where}: found {text!r}; wanted times such as 12.5-16 or 14 [s], the later one behind"
        raise SettingsError(message)
    return begin, end
