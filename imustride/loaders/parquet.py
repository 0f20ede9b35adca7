"""Parquet: one column a number, by name. Extra: research.

Source: Apache Parquet format. The library that reads it can crash on a damaged file, so it runs in a process of its own, see
`parquet_child`.
"""

from __future__ import annotations

from contextlib import closing, contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.errors import FileFormatError, SettingsError
from imustride.loaders.apart import EndedEarlyError, read_apart
from imustride.loaders.samples import Samples
from imustride.registry import Format

if TYPE_CHECKING:
    from collections.abc import Iterator

    from imustride.session import Sensor

CHILD = str(Path(__file__).with_name("parquet_child.py"))
ROWS = 1 << 17
# Most time of the processor: what starts, and what so many bytes take (an old computer unpacks some 50 MB/s).
START_S = 10
BYTES_IN_A_SECOND = 20_000_000


def read(path: Path, group: str | None, sensor: Sensor) -> Samples:
    """Read the declared columns.

    Parameters
    ----------
    path : Path
    group : None
        Parquet has no groups.
    sensor : Sensor

    Raises
    ------
    FileFormatError
        If it is no Parquet file or damaged, a column is missing, twice there or no number, or it is too large.
    SettingsError
        If pyarrow is not installed.
    """
    blocks = list(read_blocks(path, group, sensor, ROWS))
    times = [block.time for block in blocks if block.time is not None]
    acceleration, angular_velocity = (
        np.asfortranarray(np.concatenate([getattr(block, name) for block in blocks]))
        for name in ("acceleration", "angular_velocity")
    )
    return Samples(np.concatenate(times) if times else None, acceleration, angular_velocity)


def read_blocks(path: Path, group: str | None, sensor: Sensor, length: int) -> Iterator[Samples]:
    """Read the declared columns in blocks of at most `length` rows, as strictly as `read`.

    Raises
    ------
    FileFormatError
        As `read`.
    SettingsError
        As `read`.
    """
    where = f"{path.parent.name}/{path.name}"
    if group is not None:
        message = f"{where}: Parquet has no groups; found '#{group}'; remove it from session.toml"
        raise FileFormatError(message)
    wanted = _wanted(sensor, where)
    first = 0 if sensor.columns.time is None else 1
    with _read(path, where, wanted, length) as items:
        told = next(items)
        if told["problem"]:
            message = f"{where}: {told['problem']}"
            raise FileFormatError(message)
        count = 0
        for block in items:
            count += len(block)
            yield Samples(
                block[:, 0].copy() if first else None,
                block[:, first : first + 3].copy(order="F"),
                block[:, first + 3 :].copy(order="F"),
            )
        if count != told["rows"]:
            message = f"{where}: {count} rows; wanted {told['rows']} as the file says; copy it again"
            raise FileFormatError(message)


def names_in(path: Path) -> list[str]:
    """Names of the columns.

    Raises
    ------
    FileFormatError
        As `read`.
    """
    with _read(path, f"{path.parent.name}/{path.name}", [], ROWS) as items:
        (told,) = items
    names: list[str] = told["names"]
    return names


def _wanted(sensor: Sensor, where: str) -> list[str]:
    columns = sensor.columns
    wanted = [] if columns.time is None else [columns.time]
    for names in (columns.acceleration, columns.angular_velocity):
        if names is None or isinstance(names, str):
            message = f"{where}: found columns {names!r}; wanted the names of three, a column holds one number a row"
            raise FileFormatError(message)
        wanted += names
    return wanted


@contextmanager
def _read(path: Path, where: str, wanted: list[str], length: int) -> Iterator[Iterator[Any]]:
    """Read in a process of its own, and turn what becomes of it into our errors."""
    if find_spec("pyarrow") is None:
        message = f"{where}: Parquet files need pyarrow; install it with: python -m pip install 'imustride[research]'"
        raise SettingsError(message)
    cpu_s = START_S + path.stat().st_size // BYTES_IN_A_SECOND
    try:
        with closing(read_apart(CHILD, [str(path.resolve()), wanted, length], cpu_s)) as items:
            yield items
    except EndedEarlyError as error:
        message = f"{where}: not a Parquet file, damaged, or too long: {error}; copy it again, or split it"
        raise FileFormatError(message) from error


FORMAT = Format(name="Parquet", suffixes=(".parquet",), read=read, read_blocks=read_blocks)
