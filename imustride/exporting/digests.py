"""Fingerprints of files."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


def sha256(path: Path) -> str:
    """SHA-256 of a file's bytes, as lower-case hexadecimal digits.

    Raises
    ------
    OSError
        If the file cannot be read.
    """
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
