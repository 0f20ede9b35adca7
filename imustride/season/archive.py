"""Raw logs kept beside the store, each under its own fingerprint: what is the same is kept once."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import sqlalchemy as sa

from imustride.errors import StoreError
from imustride.season.tables import inputs

if TYPE_CHECKING:
    from collections.abc import Iterator

BLOCK_BYTES = 1 << 20
PARTIAL = ".part"


def archived_path(folder: Path, digest: str) -> Path:
    """Return where a file of this SHA-256 is kept."""
    return folder / digest[:2] / digest


def archive(folder: Path, source: Path, digest: str) -> Path:
    """Copy a file into the archive, unless it is there; whole or not at all.

    Raises
    ------
    StoreError
        If the file is not what its fingerprint says.
    OSError
        If it cannot be read or written.
    """
    target = archived_path(folder, digest)
    if target.exists():
        return target
    target.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=target.parent, suffix=PARTIAL)
    partial = Path(name)
    try:
        found = hashlib.sha256()
        with os.fdopen(handle, "wb") as copy, source.open("rb") as stream:
            while block := stream.read(BLOCK_BYTES):
                found.update(block)
                copy.write(block)
            copy.flush()
            os.fsync(copy.fileno())
        if found.hexdigest() != digest:
            message = f"{source}: changed while it was copied; nothing was archived; repeat"
            raise StoreError(message)
        partial.replace(target)
    finally:
        partial.unlink(missing_ok=True)
    return target


def unknown_files(connection: sa.Connection, folder: Path) -> Iterator[Path]:
    """Give the files of the archive that no session of the store knows, what was left half-written too."""
    known = set(connection.execute(sa.select(inputs.c.sha256).where(inputs.c.archived == 1)).scalars())
    for path in sorted(folder.glob("??/*")):
        if path.name not in known:
            yield path
