"""C3D: analog channels of motion capture programs by their labels, also without points. Extra: c3d.

Source: C3D file format user guide (2021). The library that reads it can crash on a damaged file, so it runs in a process of its
own, see `c3d_child`. The unit texts of such files are often wrong and are never believed: they are told where
they differ from what is declared. Files have a rate and no time stamps: `rate_hz` is declared, and must be that of the file.
"""

from __future__ import annotations

import math
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.errors import FileFormatError, SettingsError
from imustride.loaders.apart import EndedEarlyError, read_apart
from imustride.loaders.samples import Samples
from imustride.registry import Format

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from imustride.session import Sensor

# A rate that is farther from the declared one is another rate.
RATE_TOLERANCE = 1e-3
MOST_S = 10
CHILD = str(Path(__file__).with_name("c3d_child.py"))
# Written by this program: 0 where a sample was lost and another value stands in for it.
MEASURED = "measured"
KEYWORD = b"\x50"  # second byte of every C3D file


def read(path: Path, group: str | None, sensor: Sensor) -> Samples:
    """Read the declared channels.

    Parameters
    ----------
    path : Path
    group : None
        C3D has no groups.
    sensor : Sensor
        Columns are labels of analog channels.

    Raises
    ------
    FileFormatError
        If it is no C3D file, is damaged or cut off, lacks a channel, has another rate, or takes more than 10 s or 1 GiB.
    SettingsError
        If ezc3d is not installed.
    """
    where = f"{path.parent.name}/{path.name}"
    if group is not None:
        message = (
            f"{where}: C3D has no groups; found '#{group}'; remove it, and name the labels under [columns]"
        )
        raise FileFormatError(message)
    wanted = _wanted(sensor, where)
    told, values = _in_child(path, [*wanted, MEASURED], where)
    _check_labels(told["labels"], wanted, where)
    if not values.shape[1]:
        message = f"{where}: no samples in its channels; wanted samples; export it again"
        raise FileFormatError(message)
    time, values = _own(told, values, where)
    if sensor.columns.time is not None:
        time, values = values[0], values[1:]
    elif sensor.rate_hz is None and time is None:  # looked into, not declared
        time = np.arange(values.shape[1]) / told["rate_hz"]
    elif sensor.rate_hz and not math.isclose(told["rate_hz"], sensor.rate_hz, rel_tol=RATE_TOLERANCE):
        message = f"{where}: {told['rate_hz']:.6g} Hz; declared is rate_hz = {sensor.rate_hz:.6g}; correct session.toml"
        raise FileFormatError(message)
    # Axes one after the other in memory, as a recording has them.
    return Samples(
        time, values[:3].T.copy(order="F"), values[3:6].T.copy(order="F"), _unit_notes(told, sensor)
    )


def names_in(path: Path) -> list[str]:
    """Labels of the analog channels.

    Raises
    ------
    FileFormatError
        As `read`.
    """
    labels: list[str] = _in_child(path, [], f"{path.parent.name}/{path.name}")[0]["labels"]
    return labels


def _wanted(sensor: Sensor, where: str) -> list[str]:
    columns = sensor.columns
    wanted = [] if columns.time is None else [columns.time]
    for names in (columns.acceleration, columns.angular_velocity):
        if names is None or isinstance(names, str):
            message = f"{where}: found columns {names!r}; wanted the labels of three channels"
            raise FileFormatError(message)
        wanted += names
    return wanted


def _check_labels(labels: list[str], wanted: list[str], where: str) -> None:
    wrong = [label for label in wanted if labels.count(label) != 1]
    if wrong:
        shown = ", ".join("".join(c for c in label if c.isprintable())[:40] for label in labels[:30])
        what = "found twice" if labels.count(wrong[0]) > 1 else "not found"
        message = f"{where}: channel {', '.join(wrong)} {what}; the file has {shown or 'none'}; correct [columns] in session.toml"
        raise FileFormatError(message)


def _own(
    told: dict[str, Any], values: NDArray[np.float64], where: str
) -> tuple[NDArray[np.float64] | None, NDArray[np.float64]]:
    """Clock, true number of samples and lost ones, as files of this program tell them."""
    own = told["own"]
    if not own:
        return None, values
    try:
        count, start_s, rate_hz = int(own["SAMPLES"]), float(own["START_S"]), float(own["RATE_HZ"])
    except ValueError:
        count, start_s, rate_hz = 0, np.nan, np.nan
    if (
        told["labels"].count(MEASURED) != 1
        or not 0 < count <= values.shape[1]
        or not math.isfinite(start_s)
        or not math.isclose(rate_hz, told["rate_hz"], rel_tol=RATE_TOLERANCE)
    ):
        message = f"{where}: its group IMUSTRIDE or channel {MEASURED} is damaged: found {own}; export the file again"
        raise FileFormatError(message)
    measured, values = values[-1, :count], values[:-1, :count]
    values[:, measured == 0] = np.nan
    return start_s + np.arange(count) / rate_hz, values


def _unit_notes(told: dict[str, Any], sensor: Sensor) -> tuple[str, ...]:
    units = dict(zip(told["labels"], told["units"], strict=False))
    kinds = (
        ("acceleration", sensor.columns.acceleration, sensor.units.acceleration),
        ("angular velocity", sensor.columns.angular_velocity, sensor.units.angular_velocity),
    )
    return tuple(
        f"the file says {''.join(c for c in units[names[0]] if c.isprintable())[:40]!r} of {what}, which such files "
        f"often get wrong; {'declared is ' + declared if declared else 'declare it'}"
        for what, names, declared in kinds
        if isinstance(names, tuple) and units.get(names[0], declared) != declared
    )


def _in_child(path: Path, wanted: list[str], where: str) -> tuple[dict[str, Any], NDArray[np.float64]]:
    """Read in a process of its own."""
    if find_spec("ezc3d") is None:
        message = f"{where}: C3D files need ezc3d; install it with: python -m pip install 'imustride[c3d]'"
        raise SettingsError(message)
    with path.open("rb") as file:
        if file.read(2)[1:] != KEYWORD:
            message = f"{where}: not a C3D file; wanted a file exported as C3D; copy it again"
            raise FileFormatError(message)
    try:
        told, values = read_apart(CHILD, [str(path.resolve()), wanted], MOST_S, MOST_S)
        found = told["problem"]
    except EndedEarlyError as error:
        found = str(error)
    if found:
        message = f"{where}: damaged C3D data, or too much: {found}; export the file again"
        raise FileFormatError(message)
    return told, values


FORMAT = Format(name="C3D", suffixes=(".c3d",), read=read)
