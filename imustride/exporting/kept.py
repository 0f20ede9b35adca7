"""Results that need not be made again: whole, and from the same inputs, settings and program."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from imustride import __version__
from imustride.errors import ImustrideError
from imustride.exporting.made_with import made_with
from imustride.exporting.provenance import provenance
from imustride.exporting.reading_back import read_results
from imustride.exporting.results_folder import PROVENANCE
from imustride.registry import methods
from imustride.results import SessionResult

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from imustride.session import Session


def kept_results(
    out: Path, read: Callable[[], Session], settings: Mapping[str, Any], page: Mapping[str, Any]
) -> SessionResult | None:
    """Return the results in a folder if making them again would give the same.

    Parameters
    ----------
    out : Path
    read : callable
        Reads the session; called only where there are results.
    settings, page : mapping
        As given to the analysis and to `write_results`; plain data.

    Returns
    -------
    SessionResult or None
        Its tables and notes, without what single runs hold in memory. None where there are no results, anything of
        them was changed, they come from other inputs, settings or another program, or a file could not be read then.
    """
    if not (out / PROVENANCE).is_file():
        return None
    try:
        session = read()
        told, tables = read_results(out)
        wanted = {
            **provenance(session, settings),
            "version": __version__,
            "made_with": made_with(),
            "definitions": {name: metric.number for name, metric in methods("metrics").items()},
            "page": page,
            "problems": [],
        }
    except (ImustrideError, OSError):
        return None
    if any(told.get(name) != value for name, value in json.loads(json.dumps(wanted)).items()):
        return None
    notes = (*told["notes"],)
    return SessionResult(session, (), tables["pushes"], tables["runs"], tables["symmetry"], told, notes)
