"""What a folder holds: a session of this program, or one in an open standard."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.loaders.bids_dataset import dataset_root, read_dataset
from imustride.session import read_session

if TYPE_CHECKING:
    from pathlib import Path

    from imustride.session import Session


def open_session(folder: Path) -> Session:
    """Read what was recorded from a session folder or a Motion-BIDS dataset.

    Parameters
    ----------
    folder : Path
        With a ``session.toml`` (or that file itself), or a folder in a dataset; see `read_dataset`.

    Raises
    ------
    FileFormatError
        As `read_session` and `read_dataset`.
    """
    if folder.is_dir() and not (folder / "session.toml").exists() and dataset_root(folder) is not None:
        return read_dataset(folder)
    return read_session(folder)
