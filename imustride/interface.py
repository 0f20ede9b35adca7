"""What a researcher calls from Python: a session in, its pushes as tables out; and where the results go."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from imustride import pipeline
from imustride.loaders import open_session
from imustride.registry import methods

if TYPE_CHECKING:
    import os

    from imustride.registry import Filter
    from imustride.results import SessionResult
    from imustride.session import Session
    from imustride.settings import Settings


def load(path: str | os.PathLike[str]) -> Session:
    """Read and check what a session folder declares; its logs are read when it is analysed.

    Parameters
    ----------
    path : str or path
        Session folder, the ``session.toml`` in it, or a Motion-BIDS dataset.

    Raises
    ------
    FileFormatError
        With every problem of the file at once.
    """
    return open_session(Path(path))


def analyse(session: Session, settings: Settings | None = None) -> SessionResult:
    """Find, time and measure every push of a session, and compare left with right.

    Parameters
    ----------
    session : Session
        As `load` gives it.
    settings : Settings, optional
        Every threshold, in physical units.

    Returns
    -------
    SessionResult
        `pushes`, `runs_table` and `symmetry` are DataFrames with the columns of the files of the same contents;
        `runs` holds the signals, attitudes, clocks and paths of each run. A run that could not be read or used
        carries the reason.
    """
    return pipeline.analyse_opened(session, settings)


def save(result: SessionResult, out: str | os.PathLike[str]) -> None:
    """Write the results as the folder that ``imustride analyse`` writes, whole or not at all.

    Raises
    ------
    SettingsError
        If `out` is there and is not a results folder.
    OSError
        If it cannot be written.
    """
    pipeline.write_session(result, Path(out))


def filters() -> dict[str, Filter]:
    """Return the estimators of the attitude by name, each with its source and its function `estimate`."""
    return methods("orientation")
