"""Which columns a file without a session probably means; told to the reader wherever it is used."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from imustride.errors import FileFormatError
from imustride.loaders.delimited import sniff
from imustride.loaders.hdf5 import names_in
from imustride.session import Columns

if TYPE_CHECKING:
    from pathlib import Path

TIME = re.compile(r"time|stamp|^t$|^ts$", re.IGNORECASE)
ACCELERATION = re.compile(r"acc|^a[ _]?[xyz]$", re.IGNORECASE)
ANGULAR_VELOCITY = re.compile(r"gyr|omega|ang|rot|^[gw][ _]?[xyz]$", re.IGNORECASE)
AXIS = re.compile(r"(?:^|[^a-z])([xyz])(?:[^a-z]|$)|([xyz])$|^([xyz])", re.IGNORECASE)


def guess(path: Path, group: str | None, *, timeless: bool = False) -> tuple[Columns, dict[str, str]]:
    """Guess columns, delimiter and decimal of one file from its header.

    Parameters
    ----------
    path : Path
    group : str or None
    timeless : bool
        Whether the file may lack a column of time.

    Returns
    -------
    columns : Columns
    options : dict of str to str
        ``delimiter`` and ``decimal`` of a text file.

    Raises
    ------
    FileFormatError
        If no column can be told for time, acceleration or angular velocity.
    """
    options: dict[str, str] = {}
    if path.suffix.lower() in {".h5", ".hdf5"}:
        names = names_in(path, group)
    else:
        names, options = sniff(path)
    time = [name for name in names if TIME.search(_bare(name))]
    acceleration = _triad([name for name in names if ACCELERATION.search(_bare(name))])
    angular_velocity = _triad([name for name in names if ANGULAR_VELOCITY.search(_bare(name))])
    if not (time or timeless) or acceleration is None or angular_velocity is None:
        shown = ", ".join(name for name in names[:30] if name.isprintable())
        message = (
            f"{path.parent.name}/{path.name}: cannot tell which columns are time, acceleration and angular "
            f"velocity; the file has {shown}; give --columns, or a session.toml"
        )
        raise FileFormatError(message)
    columns = Columns(
        time=time[0] if time else None, acceleration=acceleration, angular_velocity=angular_velocity
    )
    return columns, options


def _bare(name: str) -> str:
    """Name without a unit in brackets."""
    return re.sub(r"[(\[].*?[)\]]", "", name).strip()


def _triad(names: list[str]) -> tuple[str, str, str] | str | None:
    """Order three names by their axis; one name is a dataset of three columns."""
    if len(names) == 1:
        return names[0]
    by_axis: dict[str, str] = {}
    for name in names:
        match = AXIS.search(_bare(name))
        if match:
            by_axis.setdefault((match[1] or match[2] or match[3]).lower(), name)
    return (by_axis["x"], by_axis["y"], by_axis["z"]) if by_axis.keys() == {"x", "y", "z"} else None


def time_unit(median_step: float) -> str | None:
    """Tell the unit of time from the usual step: no worn sensor samples outside 8 to 8000 Hz."""
    for unit, factor in (("s", 1.0), ("ms", 1e-3), ("us", 1e-6)):
        if 1 / 8000 <= median_step * factor <= 1 / 8:
            return unit
    return None
