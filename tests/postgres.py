"""A PostgreSQL server of our own for tests: started in a temporary folder, reached by a socket, stopped behind."""

import contextlib
import os
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path

MISSING = "no PostgreSQL server: found neither `postgres` on the path nor /usr/lib/postgresql/*/bin"
USER = "nobody"  # a server refuses to run as root


@dataclass(frozen=True)
class Server:
    """A running server: the folder of its data and a way to make an empty database."""

    folder: Path
    programs: Path

    def database(self, name):
        """Make an empty database; return its URL."""
        subprocess.run(
            [self.programs / "createdb", "-h", self.folder, "-U", "tester", name],
            check=True,
            capture_output=True,
        )
        return f"postgresql://tester@/{name}?host={self.folder}"


def programs():
    """Return the folder of the server's programs, or None."""
    found = shutil.which("postgres")
    places = [Path(found).resolve().parent] if found else []
    places += sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    return next(
        (place for place in places if (place / "initdb").exists() and (place / "createdb").exists()), None
    )


@contextlib.contextmanager
def running_server():
    """Start a server; stop it and remove its data at the end."""
    where = programs()
    folder = Path(tempfile.mkdtemp(prefix="imustride-server-", dir="/tmp"))
    other = {}
    if os.geteuid() == 0:
        shutil.chown(folder, USER)
        other = {"user": USER}

    def call(*command):
        subprocess.run(
            [where / command[0], *command[1:]], check=True, capture_output=True, cwd=folder, **other
        )

    data = folder / "data"
    try:
        call("initdb", "-D", data, "-U", "tester", "-A", "trust", "-N")
        options = f"-c listen_addresses= -c unix_socket_directories={folder}"
        # Its output must not stay open on ours, or whoever waits for the end of that waits for the server.
        call("pg_ctl", "-D", data, "-o", options, "-l", folder / "server.log", "-w", "start")
        try:
            yield Server(folder, where)
        finally:
            call("pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder)
