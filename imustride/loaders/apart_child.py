"""A reader in a process of its own, with little time and memory: a damaged file can bring its library down.

Run as ``python apart_child.py READER CPU_S ARGUMENTS`` by `apart.read_apart`. READER is a Python file whose ``read`` takes the
arguments (JSON) and yields mappings and arrays. A mapping leaves on stdout as a line of JSON, an array as its shape, so too, and its
numbers as float64. Imports nothing of the package, which would take longer than most files.
"""

from __future__ import annotations

import json
import os
import runpy
import sys

import numpy as np

MOST_BYTES = 1 << 30


def main(arguments: list[str]) -> int:
    """Read one file; give the exit status."""
    reader, cpu_s, given = arguments
    _limit(int(cpu_s))
    # What a library itself prints goes where errors go.
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    try:
        with out:
            for item in runpy.run_path(reader)["read"](*json.loads(given)):
                if isinstance(item, dict):
                    out.write(json.dumps(item).encode("ascii") + b"\n")
                else:
                    out.write(json.dumps(item.shape).encode("ascii") + b"\n")
                    out.write(np.ascontiguousarray(item, dtype=np.float64).tobytes())
    except MemoryError:
        sys.stderr.write(f"needs more than {MOST_BYTES} bytes of memory\n")
        return 1
    except Exception as error:  # noqa: BLE001 - whatever a library says of a damaged file
        sys.stderr.write(f"{' '.join(str(error).split())[:200] or type(error).__name__}\n")
        return 1
    return 0


def _limit(cpu_s: int) -> None:
    """Take from it what the process may use; systems that have no such limits are left with those set outside."""
    try:
        import resource
    except ImportError:
        return
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(
        resource.RLIMIT_CPU, (cpu_s, cpu_s + 1)
    )  # a signal that tells, before the one that does not
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
