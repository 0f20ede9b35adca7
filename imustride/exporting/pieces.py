"""A piece of a long log as an HDF5 file of its own: the samples unchanged, in the smallest type that holds them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.typing import NDArray

# From small to large; the first that gives every value back is taken.
TYPES = (np.int16, np.int32, np.float32)
SUFFIX = ".h5"


def write_piece(
    path: Path, datasets: Mapping[str, NDArray[np.float64]], made_of: Mapping[str, str | float]
) -> None:
    """Write the datasets of one sensor.

    Parameters
    ----------
    path : Path
    datasets : mapping of name to ndarray
        As the session's columns name them, in the units of the log.
    made_of : mapping
        Where they come from: kept as attributes, see `is_made_of`.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    import h5py

    with h5py.File(path, "w") as file:
        for name, values in datasets.items():
            small = smallest(values)
            file.create_dataset(name, data=small, compression="gzip", shuffle=True)
        for key, value in made_of.items():
            file.attrs[key] = value


def smallest(values: NDArray[np.float64]) -> NDArray[Any]:
    """Return values in the smallest type that gives each of them back, not-a-number included.

    Examples
    --------
    >>> smallest(np.array([1.0, -2.0])).dtype.name, smallest(np.array([0.1])).dtype.name
    ('int16', 'float64')
    """
    with np.errstate(invalid="ignore", over="ignore"):
        for kind in TYPES:
            if np.issubdtype(kind, np.integer) and not _is_whole(values, kind):
                continue
            small = values.astype(kind)
            if np.array_equal(small.astype(np.float64), values, equal_nan=True):
                return small
    return values


def _is_whole(values: NDArray[np.float64], kind: Any) -> bool:
    limits = np.iinfo(kind)
    return bool(
        np.isfinite(values).all() and (values >= limits.min).all() and (values <= limits.max).all()
    ) and not bool(
        (np.signbit(values) & (values == 0)).any()  # minus zero
    )


def is_made_of(path: Path, made_of: Mapping[str, str | float]) -> bool:
    """Tell whether a file is a piece cut out of the same log at the same place."""
    import h5py

    if path.is_symlink() or not path.is_file() or not h5py.is_hdf5(path):
        return False
    with h5py.File(path, "r") as file:
        return dict(file.attrs.items()) == dict(made_of)
