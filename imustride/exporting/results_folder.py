"""The results folder of one session: tables, pages, signals, dictionary and, last, provenance."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from imustride import __version__
from imustride.errors import FileFormatError, SettingsError
from imustride.exporting.declared import session_facts
from imustride.exporting.dictionary import data_package
from imustride.exporting.digests import sha256
from imustride.exporting.made_with import made_with
from imustride.exporting.signals import write_signals
from imustride.exporting.swap import repair, swapped_in
from imustride.exporting.tables import csv_text
from imustride.registry import methods

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    import pandas as pd

    from imustride.registry import Metric
    from imustride.results import SessionResult

PROGRAM = "imustride"
PROVENANCE = "provenance.json"
FORMAT = 1  # of results folders: changes whenever a reader of older ones would misread a newer one


def write_results(
    result: SessionResult,
    out: Path,
    files: Mapping[str, str | bytes | pd.DataFrame],
    page: Mapping[str, Any] | None = None,
) -> None:
    """Write the results of a session as one folder, whole or not at all.

    Parameters
    ----------
    result : SessionResult
    out : Path
        Folder to make; an earlier results folder there is replaced.
    files : mapping of str to str, bytes or DataFrame
        Contents of further files by file name, such as ``summary.html``; tables are written as CSV.
    page : mapping, optional
        How the page was wanted, as plain data: kept in the provenance.

    Raises
    ------
    SettingsError
        If `out` is there and is not a results folder.
    OSError
        If the folder cannot be written; what was at `out` is then untouched.
    """
    out = out.resolve()
    check_target(out)
    metrics = methods("metrics")
    tables = {"pushes": result.pushes, "runs": result.runs_table, "symmetry": result.symmetry}
    if result.segments is not None:
        tables["segments"] = result.segments
    with swapped_in(out) as folder:
        for name, table in tables.items():
            _write_text(folder / f"{name}.csv", csv_text(table))
        for name, content in files.items():
            if isinstance(content, bytes):
                (folder / name).write_bytes(content)
            else:
                _write_text(folder / name, content if isinstance(content, str) else csv_text(content))
        write_signals(result, folder / "session.h5")
        sizes = {name: (sha256(path), path.stat().st_size) for name, path in _files(folder).items()}
        tables |= {
            name.removesuffix(".csv"): table
            for name, table in files.items()
            if not isinstance(table, (str, bytes))
        }
        _write_json(folder / "datapackage.json", data_package(result.session, tables, metrics, sizes))
        _write_json(folder / PROVENANCE, _provenance(result, folder, metrics, page or {}))


def check_target(out: Path) -> None:
    """Repair what an interrupted writer left, and refuse a folder that is not ours to replace.

    Raises
    ------
    SettingsError
        If `out` is a file, or a folder with anything in it that we did not write.
    OSError
        If a leftover can be neither moved nor removed.
    """
    out = out.resolve()
    repair(out)
    if not out.exists():
        return
    if not out.is_dir():
        message = f"{out}: found a file, wanted a folder for the results; choose another --out"
        raise SettingsError(message)
    present = sorted(path.name for path in out.iterdir())
    if not present:
        return
    ours = {PROVENANCE, *_read_provenance(out)["files"]} if PROVENANCE in present else set()
    foreign = [name for name in present if name not in ours]
    if foreign:
        message = (
            f"{out}: found {foreign[0]!r}, which is no result of this program; the folder is left as it is; "
            "choose another --out or move the file away"
        )
        raise SettingsError(message)


def verify(out: Path) -> dict[str, Any]:
    """Check every file of a results folder against its fingerprint; give the provenance.

    Raises
    ------
    FileFormatError
        If the provenance is missing or malformed, or a file is missing or was changed.
    OSError
        If a file cannot be read.
    """
    provenance = _read_provenance(out)
    present = _files(out)
    for name, wanted in provenance["files"].items():
        if name not in present:
            message = f"{out}: {name} is missing, though {PROVENANCE} lists it; analyse the session again"
            raise FileFormatError(message)
        found = sha256(present[name])
        if found != wanted:
            message = (
                f"{out / name}: found sha256 {found[:12]}..., {PROVENANCE} says {wanted[:12]}...: the file "
                "was changed after it was written; analyse the session again"
            )
            raise FileFormatError(message)
    return provenance


def _files(folder: Path) -> dict[str, Path]:
    """Return the regular files of a results folder by name, links left out."""
    paths = [path for path in sorted(folder.iterdir()) if path.is_file() and not path.is_symlink()]
    return {path.name: path for path in paths if path.name != PROVENANCE}


def _provenance(
    result: SessionResult, folder: Path, metrics: Mapping[str, Metric], page: Mapping[str, Any]
) -> dict[str, Any]:
    of_runs = [f"{run.name}: {note}" for run in result.runs for note in run.notes]
    unread = [f"{run.name}: {problem}" for run in result.runs for problem in run.unread]
    return {
        **result.provenance,
        "program": PROGRAM,
        "version": __version__,
        "made_with": made_with(),
        "format": FORMAT,
        "page": page,
        "notes": [*result.notes, *of_runs],
        "problems": [*result.problems, *unread],
        "session": session_facts(result),
        "definitions": {name: metric.number for name, metric in metrics.items()},
        "files": {name: sha256(path) for name, path in _files(folder).items()},
    }


def _read_provenance(out: Path) -> dict[str, Any]:
    path = out / PROVENANCE
    problem = "wanted the provenance of a results folder"
    try:
        content: Any = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        message = f"{out}: found no {PROVENANCE}, {problem}; name a folder that `imustride analyse` wrote"
        raise FileFormatError(message) from None
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        message = f"{path}: {problem}, found no JSON text ({error}); analyse the session again"
        raise FileFormatError(message) from error
    ours = isinstance(content, dict) and content.get("program") == PROGRAM
    if not ours or not isinstance(content.get("files"), dict):
        message = f"{path}: {problem}, found another program's file; choose another folder"
        raise FileFormatError(message)
    return dict(content)


def _write_text(path: Path, text: str) -> None:
    # Names of folders that are no UTF-8 are told with question marks.
    path.write_text(text, encoding="utf-8", errors="replace", newline="\n")


def _write_json(path: Path, content: Mapping[str, Any]) -> None:
    _write_text(path, json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n")
