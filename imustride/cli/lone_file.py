"""Options of commands that read a lone file: its columns and units."""

from __future__ import annotations

from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import click

from imustride.errors import FileFormatError

if TYPE_CHECKING:
    from collections.abc import Callable

    from imustride.inspection.declaring import Declaration
    from imustride.session import Sensor

NAMES = ("columns_file", "acceleration_unit", "angular_velocity_unit", "time_unit", "rate_hz")


@dataclass(frozen=True, slots=True)
class FileOptions:
    """What the command line says of a file."""

    columns_file: Path | None
    acceleration_unit: Literal["m/s^2", "g", "counts"] | None
    angular_velocity_unit: Literal["deg/s", "rad/s", "counts"] | None
    time_unit: Literal["s", "ms", "us"] | None
    rate_hz: float | None

    def declaration(self) -> Declaration:
        """Return the columns file with the options on top of it."""
        from imustride.inspection.declaring import Declaration, read_declaration

        declared = Declaration() if self.columns_file is None else read_declaration(self.columns_file)
        given = {
            "time": self.time_unit,
            "acceleration": self.acceleration_unit,
            "angular_velocity": self.angular_velocity_unit,
        }
        units = declared.units.model_copy(
            update={key: unit for key, unit in given.items() if unit is not None}
        )
        return declared.model_copy(update={"units": units})

    def sensor(self, path: Path, group: str | None, device: str) -> tuple[Sensor, tuple[str, ...]]:
        """Say how the file is read; also what was taken from its header."""
        from imustride.inspection.declaring import declare

        if not path.is_file():
            message = f"{path}: no such file; wanted a recording; correct the path or copy the file"
            raise FileFormatError(message)
        return declare(path, group, device, self.declaration(), self.rate_hz)


def file_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the options of a lone file, as one argument `file_options`."""

    @wraps(command)
    def joined(*args: Any, **kwargs: Any) -> Any:
        options = FileOptions(*(kwargs.pop(name) for name in NAMES))
        return command(*args, file_options=options, **kwargs)

    for names, more in (
        (("--rate-hz",), {"type": click.FloatRange(0, min_open=True), "help": "Of a file without time."}),
        (("--time-unit",), {"type": click.Choice(["s", "ms", "us"])}),
        (("--angular-velocity-unit",), {"type": click.Choice(["deg/s", "rad/s", "counts"])}),
        (("--acceleration-unit",), {"type": click.Choice(["m/s^2", "g", "counts"])}),
        (
            ("--columns", "columns_file"),
            {
                "type": click.Path(path_type=Path),
                "metavar": "COLUMNS.toml",
                "help": "A file with [columns] and [units] as in session.toml, or a session.toml.",
            },
        ),
    ):
        joined = click.option(*names, **more)(joined)
    return joined
