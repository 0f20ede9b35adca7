"""What a result depends on beside its inputs and settings: this program's own code, and the libraries that compute."""

from __future__ import annotations

import hashlib
import platform
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import imustride

LIBRARIES = ("ahrs", "h5py", "matplotlib", "numpy", "pandas", "scipy", "vqf")
SOURCES = {".py", ".toml", ".j2", ".css", ".js"}


@cache
def made_with() -> dict[str, str]:
    """Return the SHA-256 of the program's sources, and the versions of Python and the libraries, by name."""
    root = Path(imustride.__file__).parent
    digest = hashlib.sha256()
    for path in sorted(root.rglob("*"), key=lambda path: path.relative_to(root).as_posix()):
        if path.suffix in SOURCES:
            digest.update(path.relative_to(root).as_posix().encode())
            digest.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return {
        "code": digest.hexdigest(),
        "python": platform.python_version(),
        **{name: _version(name) for name in LIBRARIES},
    }


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return "unknown"
