"""Parquet: one column a number, by name. Extra: research.

Source: Apache Parquet format. What the file declares of its sizes is checked before a value is read; values are read
in blocks, so that a column that unpacks to more than it says is stopped on the way.
"""

from __future__ import annotations

from contextlib import contextmanager
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.errors import FileFormatError, SettingsError
from imustride.loaders.samples import Samples
from imustride.registry import Format

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from imustride.session import Sensor

# Seven columns of 12 h at 1 kHz in float64 are 2.4 GB.
MAX_BYTES = 2_500_000_000
# As for HDF5: noise packs badly; what shrinks to less than a thousandth holds no recording. Small files are free to.
MAX_RATIO = 1100
FREE_BYTES = 16_000_000
ROWS = 1 << 17


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
    with _opened(path, where) as file:
        _check(file, wanted, path.stat().st_size, where)
        count = 0
        for batch in file.iter_batches(length, columns=wanted, use_threads=False):
            count += batch.num_rows
            columns = [
                np.asarray(batch.column(name).to_numpy(zero_copy_only=False), dtype=np.float64)
                for name in wanted
            ]
            yield Samples(
                columns[0].copy() if first else None,
                np.array(columns[first : first + 3]).T,
                np.array(columns[first + 3 :]).T,
            )
        if count != file.metadata.num_rows:
            message = (
                f"{where}: {count} rows; wanted {file.metadata.num_rows} as the file says; copy it again"
            )
            raise FileFormatError(message)


def names_in(path: Path) -> list[str]:
    """Names of the columns.

    Raises
    ------
    FileFormatError
        As `read`.
    """
    with _opened(path, f"{path.parent.name}/{path.name}") as file:
        return [str(name) for name in file.schema_arrow.names]


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
def _opened(path: Path, where: str) -> Iterator[Any]:
    """Open a file, and turn pyarrow's errors into ours."""
    if find_spec("pyarrow") is None:
        message = f"{where}: Parquet files need pyarrow; install it with: python -m pip install 'imustride[research]'"
        raise SettingsError(message)
    import pyarrow as pa
    from pyarrow.parquet import ParquetFile

    try:
        limits = {"thrift_string_size_limit": 1 << 24, "thrift_container_size_limit": 1 << 20}
        with ParquetFile(path, page_checksum_verification=True, **limits) as file:
            yield file
    except (pa.ArrowException, OSError, ValueError, MemoryError) as error:  # its own words for damaged data
        said = " ".join("".join(c if c.isprintable() else " " for c in str(error)).split())
        message = f"{where}: not a Parquet file, or damaged: {said[:200]}; copy the file again"
        raise FileFormatError(message) from error


def _check(file: Any, wanted: list[str], size: int, where: str) -> None:
    """Refuse columns that are no plain numbers, and sizes that no recording has."""
    import pyarrow as pa

    schema = file.schema_arrow
    names = [str(name) for name in schema.names]
    wrong = [name for name in wanted if names.count(name) != 1]
    if wrong:
        shown = ", ".join("".join(c for c in name if c.isprintable())[:40] for name in names[:30])
        what = "found twice" if names.count(wrong[0]) > 1 else "not found"
        message = f"{where}: column {', '.join(wrong)} {what}; the file has {shown or 'none'}; correct [columns] in session.toml"
        raise FileFormatError(message)
    for name in wanted:
        kind = schema.field(name).type
        if not (pa.types.is_integer(kind) or pa.types.is_floating(kind)):
            message = f"{where}: column {name}: found type {kind}; wanted numbers; correct [columns] in session.toml"
            raise FileFormatError(message)
    rows = file.metadata.num_rows
    if rows <= 0:
        message = f"{where}: no rows; wanted samples; copy the file from the sensor again"
        raise FileFormatError(message)
    groups = [file.metadata.row_group(i) for i in range(file.num_row_groups)]
    unpacked = sum(
        group.column(i).total_uncompressed_size for group in groups for i in range(group.num_columns)
    )
    declared = max(rows * 8 * len(wanted), unpacked)
    if declared > min(MAX_BYTES, max(FREE_BYTES, MAX_RATIO * size)):
        message = (
            f"{where}: declares {declared} bytes, stored in {size}; wanted less than {MAX_BYTES} bytes in memory and "
            f"{MAX_RATIO} times the stored size; split the recording"
        )
        raise FileFormatError(message)


FORMAT = Format(name="Parquet", suffixes=(".parquet",), read=read, read_blocks=read_blocks)
