"""What is said of a lone file, outside a session: its columns and units, from a file of their own or word by word."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import ValidationError

from imustride.errors import FileFormatError, SettingsError, listed
from imustride.inspection.guessing import guess
from imustride.session import (
    Columns,
    Latitude,
    Ranged,
    Sensor,
    Session,
    Units,
    read_toml,
    schema_problems,
    tuples,
)

if TYPE_CHECKING:
    from pathlib import Path

# Keys of a session that say nothing of a lone file: a session.toml may be given as it stands.
OF_SESSIONS = frozenset(Session.model_fields) - {"folder"}


class Declaration(Ranged):
    """What a columns file says."""

    latitude_deg: Latitude | None = None


def read_declaration(path: Path) -> Declaration:
    """Read the columns and units of a file of their own, or those of a ``session.toml``.

    Raises
    ------
    FileFormatError
        If the file is missing, no TOML, or holds an unknown key or a wrong value; all of them at once.
    """
    where = f"{path.absolute().parent.name}/{path.name}"
    raw = tuples(read_toml(path, where, "a .toml file with [columns] and [units]; correct --columns"))
    kept = {
        key: value for key, value in raw.items() if key in Declaration.model_fields or key not in OF_SESSIONS
    }
    try:
        return Declaration.model_validate(kept, strict=True)
    except ValidationError as error:
        message = f"{where}: {listed(schema_problems(error, kept))}; correct the file"
        raise FileFormatError(message) from error


def declare(
    path: Path, group: str | None, device: str, declared: Declaration, rate_hz: float | None = None
) -> tuple[Sensor, tuple[str, ...]]:
    """Say how a lone file is read.

    Parameters
    ----------
    path : Path
    group : str or None
        Group inside an HDF5 file.
    device : str
    declared : Declaration
        Columns that are not declared are taken from the file's header.
    rate_hz : float, optional
        Given with the command: counts more than a column of time.

    Returns
    -------
    sensor : Sensor
    notes : tuple of str
        Which columns were taken for what, where nothing declares them.

    Raises
    ------
    FileFormatError
        If the columns cannot be told from the header.
    SettingsError
        If a unit is missing.
    """
    columns = declared.columns
    notes: tuple[str, ...] = ()
    rate_hz = declared.rate_hz if rate_hz is None else rate_hz
    if columns.acceleration is None or columns.angular_velocity is None:
        columns, _ = guess(path, group, timeless=rate_hz is not None)
        notes = (f"columns by their names: {_named(columns)}",)
    if rate_hz is not None and declared.units.time != "samples":
        columns = columns.model_copy(update={"time": None})
    _refuse_missing(path, columns, declared.units, timeless=rate_hz is not None)
    sensor = Sensor(
        place="trunk",  # a lone file says nothing of its place, and nothing here depends on it
        device=device,
        columns=columns,
        units=declared.units,
        rate_hz=rate_hz,
        delimiter=declared.delimiter,
        decimal=declared.decimal,
        encoding=declared.encoding,
        acceleration_range_g=declared.acceleration_range_g,
        angular_velocity_range_deg_s=declared.angular_velocity_range_deg_s,
    )
    return sensor, notes


def _refuse_missing(path: Path, columns: Columns, units: Units, *, timeless: bool) -> None:
    wanted = {"acceleration": "m/s^2, g or counts", "angular_velocity": "deg/s, rad/s or counts"}
    if not timeless:
        wanted["time"] = "s, ms or us; a date-time in a file for --columns"
    missing = [
        f"--{key.replace('_', '-')}-unit ({unit})"
        for key, unit in wanted.items()
        if getattr(units, key) is None
    ]
    if not timeless and columns.time is None:
        missing.append("columns.time, or --rate-hz")
    if missing:
        message = f"{path.name}: units are never guessed; wanted {', '.join(missing)}; or --columns with a file that says so"
        raise SettingsError(message)


def _named(columns: Columns) -> str:
    taken = {"time": columns.time, "acceleration": columns.acceleration, "rates": columns.angular_velocity}
    return "; ".join(
        f"{what} {names if isinstance(names, str) else ', '.join(names)}"
        for what, names in taken.items()
        if names is not None
    )
