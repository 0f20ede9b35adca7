"""A folder or a file that appears whole: written beside its place, then moved in.

Names, for a folder ``results``: ``.results.partial-<process>-<random>`` is being written. Where the system can exchange
two folders in one step, that is all; else ``.results.replaced-<process>-<random>`` is the former folder during the two
renames of a swap.
"""

from __future__ import annotations

import ctypes
import os
import re
import secrets
import shutil
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

LONGEST_WRITE_S = 600  # where processes cannot be asked for, an older leftover counts as abandoned


def _sibling(target: Path, kind: str) -> Path:
    return target.parent / f".{target.name}.{kind}-{os.getpid()}-{secrets.token_hex(4)}"


def _left_behind(target: Path, kind: str) -> list[Path]:
    """Siblings of a kind whose writing process is gone."""
    pattern = re.compile(rf"\.{re.escape(target.name)}\.{kind}-(\d+)-[0-9a-f]{{8}}")
    found = [(path, pattern.fullmatch(path.name)) for path in sorted(target.parent.glob(".*"))]
    return [path for path, match in found if match and path.is_dir() and _abandoned(path, int(match[1]))]


def _abandoned(path: Path, process: int) -> bool:
    """Whether the process that made a folder is gone, as far as can be asked without harm."""
    if os.name != "posix":  # there the question itself may end the process asked about
        return time.time() - path.stat().st_mtime > LONGEST_WRITE_S
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return True
    except PermissionError:
        return False
    return False


def repair(target: Path) -> None:
    """Finish or undo what an interrupted writer left beside `target`.

    A former folder moved aside comes back if its successor never arrived; every other leftover
    of a process that no longer runs is removed.

    Raises
    ------
    OSError
        If a leftover can be neither moved nor removed.
    """
    if not target.parent.is_dir():
        return
    for replaced in _left_behind(target, "replaced"):
        if target.exists():
            shutil.rmtree(replaced)
        else:
            replaced.rename(target)
    for partial in _left_behind(target, "partial"):
        shutil.rmtree(partial)


@contextmanager
def swapped_in(target: Path) -> Iterator[Path]:
    """Give a new folder to write into; move it to `target` if the body ends without an error.

    A folder already there is replaced; the caller decides before whether it may be.

    Raises
    ------
    OSError
        If the folder cannot be made or moved; `target` is then as it was.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    partial = _sibling(target, "partial")
    partial.mkdir()
    try:
        yield partial
        _move_in(partial, target)
    finally:
        shutil.rmtree(partial, ignore_errors=True)


def _move_in(partial: Path, target: Path) -> None:
    if not target.exists():
        partial.rename(target)
        return
    if _exchanged(partial, target):
        return
    replaced = _sibling(target, "replaced")
    target.rename(replaced)
    try:
        partial.rename(target)
    except BaseException:
        if not target.exists():
            replaced.rename(target)
        raise
    shutil.rmtree(replaced)


def _exchanged(one: Path, other: Path) -> bool:
    """Exchange two folders in one step; False where the system or the file system cannot."""
    if sys.platform != "linux":
        return False
    library = ctypes.CDLL(None)
    if not hasattr(library, "renameat2"):
        return False
    here, exchange = -100, 2  # AT_FDCWD, RENAME_EXCHANGE: linux/fcntl.h, linux/fs.h
    return int(library.renameat2(here, os.fsencode(one), here, os.fsencode(other), exchange)) == 0


def write_whole(path: Path, text: str) -> None:
    """Write a file, whole or not at all; folders on the way to it are made.

    Raises
    ------
    OSError
        If it cannot be written; what was there is then untouched.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
    beside = Path(name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        beside.chmod(0o644)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
