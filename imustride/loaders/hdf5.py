"""HDF5: one group a sensor, addressed as ``file.h5#/group``; only plain data of the file itself.

An HDF5 file can lead a reader to other files (soft and external links, external storage, virtual
datasets) and can declare terabytes in a few kilobytes. All of these are refused before a value is
read.
"""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np

from imustride.errors import FileFormatError, shown
from imustride.loaders.date_times import is_date_time
from imustride.loaders.samples import Samples
from imustride.recording import pieces
from imustride.registry import Format

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

    from imustride.session import Sensor

# 24 h of three axes at 1 kHz in float64 are 2.1 GB.
MAX_BYTES = 2_500_000_000
# Signals of a sensor that lives are noise and pack to a tenth at best (common practice, no source); small datasets are
# free to be anything.
MAX_RATIO = 100
FREE_BYTES = 64_000_000
# What h5py raises for damaged data; also where names, types or sizes make no sense to Python.
DAMAGED = (
    OSError,
    RuntimeError,
    LookupError,
    ValueError,
    TypeError,
    ArithmeticError,
    MemoryError,
    SystemError,
)
# Rows read at a time.
ROWS = 1 << 17
# deflate, shuffle, fletcher32, lzf: filters that come with h5py; others would need code from outside.
FILTERS = {1: "gzip", 2: "shuffle", 3: "fletcher32", 32000: "lzf"}


def read(path: Path, group: str | None, sensor: Sensor) -> Samples:
    """Read the declared datasets of one group.

    Parameters
    ----------
    path : Path
    group : str or None
        Group that holds the datasets; the root by default.
    sensor : Sensor
        ``acceleration`` and ``angular_velocity`` name one (n, 3) dataset or three of n numbers.

    Raises
    ------
    FileFormatError
        If the file is no HDF5 file, the group or a dataset is missing, is a link or stored
        elsewhere, is not numeric, too large, or the lengths differ.
    """
    where = f"{path.parent.name}/{path.name}#{group or '/'}"
    with _opened(path, group, where) as node:
        return _samples(node, sensor, where)


def read_blocks(path: Path, group: str | None, sensor: Sensor, length: int) -> Iterator[Samples]:
    """Read the declared datasets of one group in blocks of rows, as strictly as `read`.

    Raises
    ------
    FileFormatError
        As `read`.
    """
    where = f"{path.parent.name}/{path.name}#{group or '/'}"
    with _opened(path, group, where) as node:
        count, columns = _columns(node, sensor, where)
        for piece in pieces(count, length):
            yield _block_samples(columns, piece)


def read_rows(path: Path, group: str | None, sensor: Sensor, rows: slice) -> Samples:
    """Read a slice of the declared datasets alone, as strictly as `read`; none of it lies behind the end.

    Raises
    ------
    FileFormatError
        As `read`.
    """
    where = f"{path.parent.name}/{path.name}#{group or '/'}"
    with _opened(path, group, where) as node:
        count, columns = _columns(node, sensor, where)
        return _block_samples(columns, slice(*rows.indices(count)))


def names_in(path: Path, group: str | None) -> list[str]:
    """Names of the datasets of one group.

    Raises
    ------
    FileFormatError
        As `read`.
    """
    import h5py

    where = f"{path.parent.name}/{path.name}#{group or '/'}"
    with _opened(path, group, where) as node:
        return [name for name in node if isinstance(_child(node, name, where), h5py.Dataset)]


@contextmanager
def _opened(path: Path, group: str | None, where: str) -> Iterator[Any]:
    """Open a file at one group, and turn h5py's errors into ours."""
    import h5py

    if not h5py.is_hdf5(path):
        message = f"{where}: not an HDF5 file (or cut off before it was closed); copy it again"
        raise FileFormatError(message)
    try:
        with h5py.File(path, "r") as file:
            node = file
            for step in (group or "/").strip("/").split("/"):
                node = _child(node, step, where) if step else node
            if not isinstance(node, h5py.Group):
                message = (
                    f"{where}: a dataset; wanted the group that holds it; shorten the path in session.toml"
                )
                raise FileFormatError(message)
            yield node
    except DAMAGED as error:
        message = f"{where}: damaged HDF5 data: {shown(str(error), 200)}; copy the file again"
        raise FileFormatError(message) from error


def _samples(group: Any, sensor: Sensor, where: str) -> Samples:
    columns = sensor.columns
    _refuse_date_times(sensor, where)
    acceleration = _triple(group, columns.acceleration, where)
    angular_velocity = _triple(group, columns.angular_velocity, where)
    time = None if columns.time is None else _values(group, columns.time, where, dimensions=1)
    _common_length([acceleration, angular_velocity, *([] if time is None else [time])], where)
    return Samples(time, acceleration, angular_velocity)


def _refuse_date_times(sensor: Sensor, where: str) -> None:
    if is_date_time(sensor.units.time):
        message = f"{where}: units.time declares {sensor.units.time!r}; wanted s, ms, us or samples: datasets hold numbers"
        raise FileFormatError(message)


def _common_length(columns: list[Any], where: str) -> int:
    lengths = {len(column) for column in columns}
    if len(lengths) > 1:
        message = f"{where}: datasets of different lengths {sorted(lengths)}; wanted one row a sample in each"
        raise FileFormatError(message)
    if lengths == {0}:
        message = f"{where}: empty datasets; wanted samples; copy the file from the sensor again"
        raise FileFormatError(message)
    return int(lengths.pop())


def _datasets(group: Any, names: tuple[str, str, str] | str | None, where: str) -> list[Any]:
    if isinstance(names, tuple):
        return [_dataset(group, name, where, dimensions=1) for name in names]
    return [_dataset(group, str(names), where, dimensions=2)]


def _columns(group: Any, sensor: Sensor, where: str) -> tuple[int, tuple[list[Any], list[Any], list[Any]]]:
    """Number of rows, and the datasets of time (none, or one), acceleration and angular velocity."""
    _refuse_date_times(sensor, where)
    names = sensor.columns
    acceleration = _datasets(group, names.acceleration, where)
    angular_velocity = _datasets(group, names.angular_velocity, where)
    time = [] if names.time is None else [_dataset(group, names.time, where, dimensions=1)]
    count = _common_length([*acceleration, *angular_velocity, *time], where)
    return count, (time, acceleration, angular_velocity)


def _block_samples(columns: tuple[list[Any], list[Any], list[Any]], piece: slice) -> Samples:
    time, acceleration, angular_velocity = columns
    return Samples(
        _block(time, piece)[:, 0] if time else None,
        _block(acceleration, piece),
        _block(angular_velocity, piece),
    )


def _block(datasets: list[Any], piece: slice) -> NDArray[np.float64]:
    return np.column_stack([np.asarray(dataset[piece], dtype=np.float64) for dataset in datasets])


def _triple(group: Any, names: tuple[str, str, str] | str | None, where: str) -> NDArray[np.float64]:
    if isinstance(names, tuple):
        axes = [_values(group, name, where, dimensions=1) for name in names]
        if len({len(axis) for axis in axes}) > 1:
            message = f"{where}: {', '.join(names)} have {[len(axis) for axis in axes]} samples; wanted the same number"
            raise FileFormatError(message)
        return np.stack(axes).T
    return _values(group, str(names), where, dimensions=2)


def _values(group: Any, name: str, where: str, dimensions: int) -> NDArray[np.float64]:
    """Read one dataset after every check that needs no value."""
    dataset = _dataset(group, name, where, dimensions)
    # Axes one after the other in memory, as a recording has them; not all of it twice.
    values = np.empty(dataset.shape, order="F")
    for piece in pieces(len(values), ROWS):
        values[piece] = dataset[piece]
    return values


def _dataset(group: Any, name: str, where: str, dimensions: int) -> Any:
    """Return a dataset that passed every check that needs no value."""
    import h5py

    place = f"{where}, dataset {name!r}"
    dataset = group
    for step in name.strip("/").split("/"):
        dataset = _child(dataset, step, where)
    if not isinstance(dataset, h5py.Dataset):
        message = f"{place}: a group; wanted a dataset; correct [columns] in session.toml"
        raise FileFormatError(message)
    if dataset.dtype.kind not in "iuf" or dataset.dtype.itemsize > 8:
        message = f"{place}: found type {dataset.dtype}; wanted numbers; correct [columns] in session.toml"
        raise FileFormatError(message)
    if dataset.ndim != dimensions or (dimensions == 2 and dataset.shape[1] != 3):
        wanted = "(n, 3)" if dimensions == 2 else "(n,)"
        message = f"{place}: found shape {dataset.shape}; wanted {wanted}; correct [columns] in session.toml"
        raise FileFormatError(message)
    _refuse_unsafe(dataset, place)
    return dataset


def _refuse_unsafe(dataset: Any, place: str) -> None:
    if dataset.is_virtual or dataset.external:
        message = f"{place}: its values lie in other files; wanted plain data; copy them into this file"
        raise FileFormatError(message)
    plist = dataset.id.get_create_plist()
    filters = {plist.get_filter(i)[0] for i in range(plist.get_nfilters())}
    if not filters <= FILTERS.keys():
        message = f"{place}: packed with filter {sorted(filters - FILTERS.keys())}; wanted {', '.join(FILTERS.values())}"
        raise FileFormatError(message)
    # Chunks may claim to be larger than the file, or lie over each other in it.
    stored = min(dataset.id.get_storage_size(), dataset.file.id.get_filesize())
    chunk = int(np.prod(dataset.chunks)) if dataset.chunks else 0
    declared = max(dataset.size, chunk) * dataset.dtype.itemsize
    if max(dataset.size, chunk) * 8 > MAX_BYTES or declared > max(FREE_BYTES, MAX_RATIO * stored):
        message = (
            f"{place}: declares {declared} bytes, stored in {stored}; wanted less than {MAX_BYTES} bytes in "
            f"memory and {MAX_RATIO} times the stored size; split the recording"
        )
        raise FileFormatError(message)


def _child(group: Any, name: str, where: str) -> Any:
    """Return what a hard link of a group leads to."""
    import h5py

    link = group.get(name, getlink=True) if isinstance(group, h5py.Group) else None
    if link is None:
        found = ", ".join(sorted(group)[:30]) if isinstance(group, h5py.Group) else "a dataset"
        message = (
            f"{where}: {name!r} not found; the file has {found or 'nothing'} there; correct session.toml"
        )
        raise FileFormatError(message)
    if not isinstance(link, h5py.HardLink):
        message = (
            f"{where}: {name!r} is a link to {getattr(link, 'path', 'elsewhere')!r}; wanted the data itself"
        )
        raise FileFormatError(message)
    return group[name]


FORMAT = Format(
    name="HDF5", suffixes=(".h5", ".hdf5"), read=read, read_blocks=read_blocks, read_rows=read_rows
)
