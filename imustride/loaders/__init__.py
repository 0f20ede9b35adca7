"""Loading: from a file of any known format to evenly sampled recordings in SI units.

A format is one file here that ends with a `FORMAT` descriptor. Its ``read(path, group, sensor)``
returns `Samples` in the units of the file; `load` converts, `regularise` samples evenly.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from imustride.errors import FileFormatError
from imustride.loaders.gates import read_gates
from imustride.loaders.opening import open_session
from imustride.loaders.samples import Samples, as_log, check_is_file
from imustride.loaders.sampling import regularise
from imustride.registry import methods
from imustride.session_checks import split_group

if TYPE_CHECKING:
    from pathlib import Path

    from imustride.recording import SensorLog
    from imustride.registry import Format
    from imustride.session import Movement, Run, Sensor, Session

__all__ = ["Samples", "format_of", "load", "load_file", "open_session", "read_gates", "regularise"]


def load(session: Session, run: Run | Movement, place: str) -> SensorLog:
    """Read the file of one sensor in one run.

    Parameters
    ----------
    session : Session
        As returned by `read_session`.
    run : Run or Movement
    place : str
        Place on the body, such as ``left_skate``.

    Returns
    -------
    SensorLog
        SI units, time stamps as found.

    Raises
    ------
    FileFormatError
        If the run has no file for the place, or the file is missing, empty, not of a known
        format, lacks a declared column or holds text where a number belongs.
    """
    files = {str(key): written for key, written in run.files.items()}
    if place not in files:
        message = (
            f"{session.folder.name}/session.toml: run {run.name!r} has no file for {place}; "
            f"found {', '.join(files)}; add it under files"
        )
        raise FileFormatError(message)
    file, group = split_group(files[place])
    return load_file(session.path(file), group, session.sensor(place))


def load_file(path: Path, group: str | None, sensor: Sensor) -> SensorLog:
    """Read one file as a sensor's declaration says.

    Parameters
    ----------
    path : Path
    group : str or None
        Group inside an HDF5 file.
    sensor : Sensor
        With complete columns, units and file options.

    Raises
    ------
    FileFormatError
        As `load`.
    """
    check_is_file(path)
    return as_log(format_of(path).read(path, group, sensor), path, group, sensor)


def format_of(path: Path) -> Format:
    """Return the format that answers to the ending of a file name.

    Raises
    ------
    FileFormatError
        If no format does.
    """
    formats: list[Format] = list(methods("loaders").values())
    answering = [(suffix, known) for known in formats for suffix in known.suffixes]
    fitting = [(len(suffix), known) for suffix, known in answering if path.name.lower().endswith(suffix)]
    if fitting:  # the longest ending: a _motion.tsv is more than a .tsv
        return max(fitting, key=lambda pair: pair[0])[1]
    endings = ", ".join(suffix for known in formats for suffix in known.suffixes)
    message = f"{path.name}: no reader for files ending in {path.suffix!r}; wanted one of {endings}; convert the file"
    raise FileFormatError(message)
