"""A results folder into the store, after every file of it was checked; raw logs found and, if wanted, archived."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from imustride.errors import FileFormatError
from imustride.exporting.digests import sha256
from imustride.exporting.reading_back import read_results

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from imustride.season.adding import Added, Input
    from imustride.season.store import Store

SESSION_FILE = "session.toml"
FACTS = ("athlete", "date", "name", "surface", "protocol", "consent", "conditions", "sensors", "runs")


def add_results(
    store: Store, folder: Path, *, raw: Sequence[Path] = (), archive: bool = False, dry_run: bool = False
) -> Added:
    """Add the results folder of one session.

    Parameters
    ----------
    store : Store
    folder : Path
        As `imustride analyse` wrote it.
    raw : sequence of Path
        Session folders, or folders of session folders: the raw logs are looked for there, by their fingerprints.
    archive : bool
        Copy the raw logs that were found into the archive beside the store.
    dry_run : bool
        Check and tell, keep nothing.

    Raises
    ------
    FileFormatError
        If the folder is no results folder, was changed, or is of a version this program does not know.
    StoreError
        If the store refuses it; see `season.adding.add_session`.
    OSError
        If a file cannot be read or copied.
    """
    from imustride.season.adding import NewSession, add_session

    provenance, tables = read_results(folder)
    _check_facts(provenance, folder)
    inputs, notes = _located(_inputs(provenance), raw)
    new = NewSession(
        provenance["session"],
        tables,
        {name: provenance["files"][f"{name}.csv"] for name in tables},
        provenance["definitions"],
        provenance["settings"],
        provenance["version"],
        inputs,
        folder.absolute(),
    )
    if archive and not dry_run:
        add_session(store, new, dry_run=True)  # what is refused leaves no file behind
        new = replace(new, inputs=_archived(store, inputs))
    added = add_session(store, new, dry_run=dry_run)
    return replace(added, notes=(*added.notes, *notes))


def _check_facts(provenance: dict[str, Any], folder: Path) -> None:
    facts = provenance.get("session")
    missing = [name for name in FACTS if not isinstance(facts, dict) or name not in facts]
    missing += [name for name in ("definitions", "settings", "version", "inputs") if name not in provenance]
    if missing:
        message = (
            f"{folder}/provenance.json: no {missing[0]!r}; wanted all facts of a session; analyse it again"
        )
        raise FileFormatError(message)


def _inputs(provenance: dict[str, Any]) -> list[Input]:
    from imustride.season.adding import Input

    runs = provenance["session"]["runs"].values()
    logs = {name for run in runs for name in run["logs"]}
    found = []
    for name, digest in provenance["inputs"].items():
        if name == SESSION_FILE:
            found.append(Input("session", name, digest))
        else:
            found.append(Input("log" if name in logs else "gates", name, digest))
    for place, used in provenance.get("calibration", {}).items():
        found.append(Input("calibration", f"{place}: {used['file']}", used["sha256"]))
    return found


def _located(inputs: list[Input], raw: Sequence[Path]) -> tuple[list[Input], list[str]]:
    """Return the inputs with where they were found, and what was not."""
    if not raw:
        return inputs, []
    wanted = next((entry.sha256 for entry in inputs if entry.kind == "session"), None)
    session = next((folder for folder in _sessions(raw) if sha256(folder / SESSION_FILE) == wanted), None)
    if session is None:
        return inputs, [
            "no session folder with this session.toml in the folders of raw logs; where they are was not noted"
        ]
    found, notes = [], []
    for entry in inputs:
        path = session / entry.name
        if entry.kind != "calibration" and path.is_file() and sha256(path) == entry.sha256:
            found.append(replace(entry, place=str(path.absolute())))
            continue
        found.append(entry)
        if entry.kind != "calibration":
            notes.append(f"{path}: missing, or not what was analysed; where it is was not noted")
    return found, notes


def _sessions(raw: Sequence[Path]) -> list[Path]:
    below = [path for folder in raw if folder.is_dir() for path in (folder, *sorted(folder.iterdir()))]
    return [path for path in below if (path / SESSION_FILE).is_file()]


def _archived(store: Store, inputs: list[Input]) -> list[Input]:
    from pathlib import Path

    from imustride.season.archive import archive
    from imustride.season.place import archive_folder

    kept = []
    for entry in inputs:
        if entry.place:
            archive(archive_folder(store.place), Path(entry.place), entry.sha256)
        kept.append(replace(entry, archived=bool(entry.place)))
    return kept
