"""Where the store lies: one file on a local disk, or a server by its URL."""

from __future__ import annotations

import os
import re
from pathlib import Path

from imustride.errors import StoreError

VARIABLE = "IMUSTRIDE_STORE"
FILE = "season.db"

# File systems that lie on another machine; the log that SQLite writes ahead (WAL) needs memory shared between the
# processes, hence one machine (https://www.sqlite.org/wal.html, section 1).
NETWORK = re.compile(
    r"(nfs\d?|cifs|smb\w*|9p|afs|ncpfs|ceph|glusterfs|lustre|davfs|fuse\.(sshfs|davfs2?|rclone|s3fs|gcsfuse))\Z"
)
MOUNTS = Path("/proc/self/mounts")

_SERVER = re.compile(r"postgres(ql)?(\+psycopg)?://")
_OTHER = re.compile(r"[A-Za-z][A-Za-z0-9+]+://")


def find_place(named: str | None = None) -> str:
    """Return the place of the store: as named, else as the environment says, else in the user's own data.

    Parameters
    ----------
    named : str, optional
        A file, or ``postgresql://user@host/database``.
    """
    chosen = named or os.environ.get(VARIABLE)
    if chosen:
        return chosen
    from platformdirs import user_data_path

    return str(user_data_path("imustride", appauthor=False) / FILE)


def server_url(place: str) -> str | None:
    """Return the URL of a server for its driver; None where the place is a file.

    Raises
    ------
    StoreError
        If it is the URL of something else.
    """
    found = _SERVER.match(place)
    if found:
        return f"postgresql+psycopg://{place[found.end() :]}"
    if _OTHER.match(place):
        message = f"--store: found the URL {place.partition(':')[0]}://..., wanted a file or postgresql://user@host/database"
        raise StoreError(message)
    return None


def shown(place: str) -> str:
    """Return the place without the password that a URL may carry."""
    return re.sub(r"(://[^:/@]*):[^@]*@", r"\1:***@", place)


def archive_folder(place: str) -> Path:
    """Return the folder of archived raw logs: beside the file of the store, else in the user's own data."""
    if server_url(place) is None:
        file = Path(place).absolute()
        return file.with_name(f"{file.stem}-raw")
    from platformdirs import user_data_path

    return Path(user_data_path("imustride", appauthor=False)) / "season-raw"


def check_local(file: Path) -> None:
    """Refuse a file on a network share.

    Raises
    ------
    StoreError
        If the file's folder lies on another machine, as far as the system tells.
    """
    kind = _file_system(file.absolute().parent)
    if not NETWORK.match(kind):
        return
    message = (
        f"{file}: lies on a network share ({kind}); wanted a local disk, since several computers writing one file "
        "damage it; choose another --store, or a server: --store postgresql://user@host/database"
    )
    raise StoreError(message)


def _file_system(folder: Path) -> str:
    """Return the kind of file system a folder lies on; empty where the system does not tell."""
    real = os.path.realpath(folder)
    if real.startswith(("\\\\", "//")):
        return "cifs"
    try:
        lines = MOUNTS.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return ""
    kinds = {}
    for line in lines:
        _, where, kind, *_ = line.split(" ")
        kinds[where.encode().decode("unicode_escape")] = kind
    above = [real, *map(str, Path(real).parents)]
    return next((kinds[where] for where in above if where in kinds), "")
