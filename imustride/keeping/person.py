"""Everything there is about one person, as a folder to hand over."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from imustride.exporting import check_target

if TYPE_CHECKING:
    from pathlib import Path

    from imustride.season.store import Store

TABLES = ("sessions", "runs", "pushes", "symmetry")


def export_athlete(store: Store, athlete: str, out: Path, *, dry_run: bool = False) -> dict[str, int]:
    """Write all rows of an athlete, history included, consents, where files are, and the archived raw logs.

    Parameters
    ----------
    store : Store
    athlete : str
        Code.
    out : Path
        An earlier folder of this program is replaced.
    dry_run : bool
        Tell, write nothing.

    Returns
    -------
    dict of str to int
        How many rows there are of each table, and raw files.

    Raises
    ------
    StoreError
        If the store does not know the athlete.
    SettingsError
        If `out` is there and is no folder of this program.
    OSError
        If the folder cannot be written.
    """
    from imustride.keeping.tables import write_tables
    from imustride.season.forgetting import traces
    from imustride.season.outputs import note_outputs
    from imustride.season.place import archive_folder
    from imustride.season.reading import Chosen

    check_target(out)
    found = traces(store, athlete, archive_folder(store.place))
    if dry_run:
        return {**found.rows, "raw": len(found.archived)}
    note_outputs(store, out, "export", (athlete,))
    about = {"kind": "export", "athletes": [athlete], "person": _person(store, athlete)}
    raw = [(f"raw-{path.name}", path) for path in found.archived if path.is_file()]
    chosen = Chosen((athlete,), history=True)
    return {**write_tables(store, out, about, TABLES, chosen, ("csv",), raw), "raw": len(raw)}


def _person(store: Store, athlete: str) -> dict[str, Any]:
    """Return what no table holds: year of birth, consents, files and folders."""
    from imustride.season.consent import consents_of
    from imustride.season.person import read_inputs, read_person

    return {
        **read_person(store, athlete),
        "consents": [
            {name: _told(value) for name, value in asdict(consent).items()}
            for consent in consents_of(store, athlete)
        ],
        "inputs": read_inputs(store, athlete),
    }


def _told(value: Any) -> Any:
    return (
        value.isoformat()
        if hasattr(value, "isoformat")
        else list(value)
        if isinstance(value, tuple)
        else value
    )
