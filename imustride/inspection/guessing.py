"""Which columns a file without a session probably means; told to the reader wherever it is used."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from imustride.errors import FileFormatError
from imustride.loaders import c3d, hdf5, motion_bids, parquet
from imustride.loaders.header_units import bare, said_unit
from imustride.loaders.sniffing import Sniffed, sniff
from imustride.session import Columns, Units

if TYPE_CHECKING:
    from pathlib import Path

TIME = re.compile(r"time|stamp|latency|^t$|^ts$", re.IGNORECASE)
ACCELERATION = re.compile(r"acc|^a[ _]?[xyz]$", re.IGNORECASE)
ANGULAR_VELOCITY = re.compile(r"gyr|omega|ang(?!le)|rot|^[gw][ _]?[xyz]$", re.IGNORECASE)
DECLARABLE = {
    "time": ("s", "ms", "us"),
    "acceleration": ("m/s^2", "g", "counts"),
    "angular_velocity": ("deg/s", "rad/s", "counts"),
}
AXIS = re.compile(r"(?:^|[^a-z])([xyz])(?:[^a-z]|$)|([xyz])$|^([xyz])", re.IGNORECASE)


def guess(path: Path, group: str | None, *, timeless: bool = False) -> tuple[Columns, Units]:
    """Guess the columns of one file from its header, and read the units that its header says.

    Parameters
    ----------
    path : Path
    group : str or None
    timeless : bool
        Whether the file may lack a column of time.

    Returns
    -------
    columns : Columns
    units : Units
        Of a text file; what its header does not say, or not of all three columns alike, is left open.

    Raises
    ------
    FileFormatError
        If no column can be told for time, acceleration or angular velocity; or where stamps give day and month in
        an order that cannot be told.
    """
    sniffed = _sniffed(path, group)
    timeless = timeless or path.suffix.lower() == ".c3d"  # it has a rate instead
    names = sniffed.header
    time = [name for name in names if TIME.search(bare(name))]
    acceleration = _triad([name for name in names if ACCELERATION.search(bare(name))])
    angular_velocity = _triad([name for name in names if ANGULAR_VELOCITY.search(bare(name))])
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
    return columns, _units(path, columns, sniffed)


def _sniffed(path: Path, group: str | None) -> Sniffed:
    """Return the names in a file of any format, with a second row that holds units where it has one."""
    name = path.name.lower()
    if name.endswith(motion_bids.ENDING):
        channels = motion_bids.read_channels(path)
        return Sniffed([channel.name for channel in channels], [[channel.units for channel in channels]])
    if name.endswith((".h5", ".hdf5")):
        return Sniffed(hdf5.names_in(path, group), [])
    if name.endswith(".c3d"):
        return Sniffed(c3d.names_in(path), [])
    return Sniffed(parquet.names_in(path), []) if name.endswith(".parquet") else sniff(path)


def _units(path: Path, columns: Columns, sniffed: Sniffed) -> Units:
    """What the header says of units."""
    said: dict[str, str] = {}
    for key, names in (
        ("time", columns.time),
        ("acceleration", columns.acceleration),
        ("angular_velocity", columns.angular_velocity),
    ):
        several = () if names is None else (names,) if isinstance(names, str) else names
        units = {said_unit(key.replace("_", " "), name, sniffed.below(name))[1] for name in several}
        unit = units.pop() if len(units) == 1 else None
        if unit in DECLARABLE[key]:
            said[key] = str(unit)
    order = None if columns.time is None else sniffed.order_of_stamps(columns.time)
    if order == "?":
        message = (
            f"{path.parent.name}/{path.name}: column {columns.time}: day and month of the stamps cannot be told apart; "
            "declare units.time as 'date-time day-first' or 'date-time month-first' in a session.toml"
        )
        raise FileFormatError(message)
    if order is not None:
        said["time"] = order
    return Units.model_validate(said)


def _triad(names: list[str]) -> tuple[str, str, str] | str | None:
    """Order three names by their axis; one name is a dataset of three columns."""
    if len(names) == 1:
        return names[0]
    by_axis: dict[str, str] = {}
    for name in names:
        match = AXIS.search(bare(name))
        if match:
            by_axis.setdefault((match[1] or match[2] or match[3]).lower(), name)
    return (by_axis["x"], by_axis["y"], by_axis["z"]) if by_axis.keys() == {"x", "y", "z"} else None


def time_unit(median_step: float) -> str | None:
    """Tell the unit of time from the usual step: no worn sensor samples outside 8 to 8000 Hz."""
    for unit, factor in (("s", 1.0), ("ms", 1e-3), ("us", 1e-6)):
        if 1 / 8000 <= median_step * factor <= 1 / 8:
            return unit
    return None
