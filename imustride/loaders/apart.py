"""Files whose library a damaged one can bring down are read in a process of its own, see `apart_child`."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
from contextlib import contextmanager
from threading import Timer
from typing import IO, TYPE_CHECKING, Any, cast

import numpy as np

from imustride.loaders import apart_child

if TYPE_CHECKING:
    from collections.abc import Generator, Iterator
    from io import BufferedReader


class EndedEarlyError(Exception):
    """What became of the process, in words."""


def read_apart(
    reader: str, arguments: list[Any], cpu_s: int, longest_s: float | None = None
) -> Generator[Any]:
    """Yield the mappings and arrays (float64) that a reader yields in a process of its own.

    Parameters
    ----------
    reader : str
        Python file with a function ``read``, which imports nothing of this package.
    arguments : list
        What it is called with; JSON.
    cpu_s : int
        Most time of the processor, where the system limits it.
    longest_s : float, optional
        Most time until all is read, whoever is slow.

    Raises
    ------
    EndedEarlyError
        If the process fails, crashes, or needs more than that or 1 GiB.
    """
    command = [sys.executable, "-P", apart_child.__file__, reader, str(cpu_s), json.dumps(arguments)]
    with tempfile.TemporaryFile() as said, _running(command, said, longest_s) as process:
        out = cast("BufferedReader", process.stdout)
        while line := out.readline():
            item = _parsed(line)
            if isinstance(item, dict):
                yield item
                continue
            values = np.empty(item)
            if values.size and out.readinto(values.data.cast("B")) < values.nbytes:
                raise EndedEarlyError(_how_it_ended(process.wait(), said))
            yield values
        status = process.wait()
        if status:
            raise EndedEarlyError(_how_it_ended(status, said))


@contextmanager
def _running(
    command: list[str], said: IO[bytes], longest_s: float | None
) -> Iterator[subprocess.Popen[bytes]]:
    # The child finds modules where this process does, and nowhere else: not in the current folder.
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(entry for entry in sys.path if entry)}
    environment |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    process = subprocess.Popen(  # noqa: S603 - our own module; the file is data to it
        command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=said, env=environment
    )
    late = Timer(longest_s, process.kill) if longest_s else None
    if late:
        late.daemon = True
        late.start()
    try:
        yield process
    finally:
        if late:
            late.cancel()
        process.kill()
        process.wait()
        cast("BufferedReader", process.stdout).close()


def _parsed(line: bytes) -> dict[str, Any] | list[int]:
    try:
        item = json.loads(line)
    except ValueError:
        item = None
    if not isinstance(item, (dict, list)):
        message = f"its reader said {line[:40]!r}"
        raise EndedEarlyError(message)
    return item


def _how_it_ended(status: int, said: IO[bytes]) -> str:
    if status < 0:
        name = next((one.name for one in signal.Signals if one == -status), f"signal {-status}")
        known = {
            "SIGXCPU": "reading took too long",
            "SIGKILL": "reading took too long, or the computer has no memory left",
        }
        return known.get(name, f"the reader was ended by {name}")
    said.seek(0)
    lines = said.read().decode("utf-8", "replace").strip().splitlines()
    return "".join(c for c in lines[-1] if c.isprintable())[:200] if lines else f"status {status}"
