"""A person forgotten: folders, archived logs, rows and the bytes they took; and what nobody can call back."""

from __future__ import annotations

import json
import shutil
from dataclasses import dataclass
from typing import TYPE_CHECKING

from imustride.errors import ImustrideError, StoreError
from imustride.exporting import check_target, sha256

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from imustride.season.forgetting import Original, Traces
    from imustride.season.outputs import Output
    from imustride.season.store import Store

INDEX = "index.html"
BEYOND_REACH = (
    "copies of pages, tables, exports and of the store that were sent, printed or put elsewhere",
    "backups and snapshots of this computer's disks, and blocks that a disk set aside",
)


@dataclass(frozen=True, slots=True)
class Forgotten:
    """What was removed (or would be), and what remains and why."""

    athlete: str
    rows: dict[str, int]
    removed: tuple[Path, ...]
    left: tuple[str, ...]


def forget(store: Store, athlete: str, *, originals: bool = False, dry_run: bool = False) -> Forgotten:
    """Remove everything about an athlete that this program wrote or keeps, until no byte is left.

    Parameters
    ----------
    store : Store
    athlete : str
        Code.
    originals : bool
        Remove the raw files in the session folders too, where they are still what was analysed.
    dry_run : bool
        Tell, remove nothing.

    Raises
    ------
    StoreError
        If the store does not know the athlete (what an interrupted command left is removed even so), or another
        process holds the store.
    OSError
        If a file cannot be removed; the rows are then still there, and the command can be repeated.
    """
    from imustride.season.forgetting import delete_athlete, scrub, traces
    from imustride.season.place import archive_folder

    archive = archive_folder(store.place)
    try:
        found = traces(store, athlete, archive)
    except StoreError:
        if not dry_run:
            scrub(store)
            _sweep(store, archive)
        raise
    removable, left = _removable(found)
    kept_raw, raw = _originals(found.originals, wanted=originals)
    removed = [*removable, *raw, *(path for path in found.archived if path.exists()), *found.backups]
    if not dry_run:
        for path in removed:
            _remove(path)
        delete_athlete(store, athlete)
        left += scrub(store)
        _sweep(store, archive)
    return Forgotten(athlete, found.rows, tuple(removed), (*left, *kept_raw, *BEYOND_REACH))


def _removable(found: Traces) -> tuple[list[Path], list[str]]:
    """Return the folders and pages of ours that tell of the athlete, and what must stay and why."""
    removable: list[Path] = []
    left: list[str] = []
    for output in found.outputs:
        path = output.path
        if not path.exists():
            left.append(
                f"{path}: a {output.kind} was written there and is gone; if it was moved, remove it by hand"
            )
            continue
        try:
            if path.is_dir():
                check_target(path)
        except ImustrideError as error:
            left.append(str(error))
            continue
        if _tells_of(path, output, found.athlete):
            removable.append(path)
            removable += _lists(path, found.athlete)
    return list(dict.fromkeys(removable)), left


def _tells_of(path: Path, output: Output, athlete: str) -> bool:
    """Whether a folder still tells of the athlete: results may have been replaced by another's."""
    if path.is_file() or output.kind != "results":
        return True
    try:
        provenance = json.loads((path / "provenance.json").read_text(encoding="utf-8"))
    except FileNotFoundError:
        return False
    return bool(provenance.get("session", {}).get("athlete") == athlete)


def _lists(results: Path, athlete: str) -> list[Path]:
    """Return the list of pages beside a results folder, if it names the athlete."""
    index = results.parent / INDEX
    if index.is_file() and athlete in index.read_text(encoding="utf-8", errors="replace"):
        from imustride.report.index import check_index

        try:
            check_index(results.parent)
        except ImustrideError:
            return []
        return [index]
    return []


def _originals(seen: Iterable[Original], *, wanted: bool) -> tuple[list[str], list[Path]]:
    """Return what is told of raw files that stay, and those to remove."""
    there = [original for original in seen if original.path.is_file()]
    same = [original.path for original in there if sha256(original.path) == original.sha256]
    if wanted:
        changed = [original.path for original in there if original.path not in same]
        return [f"{path}: changed since it was analysed; remove it by hand" for path in changed], same
    folders = dict.fromkeys(original.path.parent for original in there)
    return [f"{folder}: raw files, yours to remove (or repeat with --originals)" for folder in folders], []


def _remove(path: Path) -> None:
    if path.is_dir():
        shutil.rmtree(path)
        return
    path.unlink(missing_ok=True)


def _sweep(store: Store, archive: Path) -> None:
    """Remove from the archive what no session knows, and folders left empty."""
    from imustride.season.archive import unknown_files

    with store.reading() as connection:
        unknown = list(unknown_files(connection, archive))
    for path in unknown:
        path.unlink(missing_ok=True)
    for folder in archive.glob("??"):
        if not any(folder.iterdir()):
            folder.rmdir()
