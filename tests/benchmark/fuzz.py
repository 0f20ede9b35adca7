"""Readers against mutated bytes: python -m tests.benchmark.fuzz --reader delimited [--inputs 1000000] [--seconds 60] [--seed 1]

A coverage-guided fuzzer (atheris) mutates files of a seed corpus made by code. Each input is read in the same process;
an input is read or refused in one printable line, within 10 s and 1 GiB. What is read is checked:

- delimited text of the plain kind (comma, point, UTF-8, nothing above the header) against a slow reading by Python's csv module;
- Motion-BIDS against every cell of its table by Python's float;
- HDF5 whose every structure and value carries a checksum, and Parquet whose pages do and whose footer is whole, against the
  values that were written;
- tables, session and day files against their own limits.

Ends at the first fault and leaves its input in a file that the last line names. Prints one line of JSON.
"""

import argparse
import json
import os
import re
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.fuzz.bids import Bids
from tests.fuzz.binary import Hdf5, Parquet
from tests.fuzz.c3d import C3d
from tests.fuzz.common import FoundError
from tests.fuzz.declared import Calibration, Gates, Kit, Roster, Session
from tests.fuzz.text import Delimited

MEMORY = Path("/dev/shm")  # noqa: S108 - a million files in a folder of its own there wear no disk
LONGEST_S = 10
MOST_MIB = 1024
WORDS = ("nan", "NA", "1e400", "-1e400", "0x10", "1_0", "inf", "\\xef\\xbb\\xbf", "\\xff\\xfe", "\\x00", "\\x0d\\x0a", "\\x0d",
         ";", "\\x09", "\\x22", "\\x22\\x22", "=1+1", "1,5", "1.5e", ",,,,,,", "2026-10-03T14:05:06.5Z", "[g]", "(dps)", "s,g,g,g",
         "[[", "]]", "'''", "\\x22\\x22\\x22", "{a={", "a.b.c=1", "1979-05-27", "#", "\\\\u0000",
         "OHDR", "OCHK", "TREE", "SNOD", "HEAP", "BTHD", "FRHP", "FSHD", "\\x89HDF", "\\xff\\xff\\xff\\xff\\xff\\xff\\xff\\xff")  # fmt: skip


READERS = {
    reader.__name__.casefold(): reader
    for reader in (Delimited, Bids, Hdf5, Parquet, C3d, Gates, Session, Calibration, Kit, Roster)
}


def fuzz(name, folder, arguments):
    """Fuzz a reader in this process, which ends with it."""
    import atheris

    with atheris.instrument_imports(include=["imustride", "tomllib", "csv"], enable_loader_override=False):
        reader = READERS[name]()
    from imustride.errors import ImustrideError

    path = Path(tempfile.mkdtemp(dir=folder)) / f"input{reader.suffix}"
    counts = np.memmap(folder / "counts", dtype=np.int64, mode="r+", shape=(2,))

    def one(data):
        try:
            reader.check(path, data)
            counts[0] += 1
        except ImustrideError as error:
            counts[1] += 1
            if not str(error).isprintable():
                message = f"a refusal of more than one line: {error!r}"
                raise FoundError(message) from error

    for seed in reader.seeds():  # what is imported late is no slow input
        one(seed)
    counts[:] = 0
    atheris.Setup([sys.argv[0], *arguments], one)
    atheris.Fuzz()


def peak_mib():
    """Largest memory of this process so far: a child starts with its parent's peak on its account."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def run(name, inputs, seconds, seed):
    """Fuzz a reader in a child, without a seed from the clock; return the figures and what the fuzzer said."""
    with tempfile.TemporaryDirectory(dir=MEMORY if MEMORY.is_dir() else None) as made:
        folder = Path(made)
        (folder / "seeds").mkdir()
        for at, content in enumerate(READERS[name]().seeds()):
            (folder / "seeds" / str(at)).write_bytes(content)
        (folder / "words").write_text("".join(f'"{word}"\n' for word in WORDS), encoding="ascii")
        np.memmap(folder / "counts", dtype=np.int64, mode="w+", shape=(2,)).flush()
        left = Path(tempfile.gettempdir()) / f"fuzz-{name}-"
        options = [
            f"-runs={inputs}", f"-seed={seed or 0}", f"-timeout={LONGEST_S}", f"-rss_limit_mb={MOST_MIB + peak_mib()}",
            f"-dict={folder / 'words'}", f"-artifact_prefix={left}", "-max_len=16384", "-print_final_stats=1",
        ]  # fmt: skip
        if seconds is not None:
            options.append(f"-max_total_time={seconds}")
        done = subprocess.run(
            [sys.executable, "-m", "tests.benchmark.fuzz", "--reader", name, "--child", str(folder), *options, str(folder / "seeds")],
            cwd=Path(__file__).parents[2], env={**os.environ, "TMPDIR": made}, capture_output=True, text=True, errors="replace", check=False,
        )  # fmt: skip
        read, refused = np.fromfile(folder / "counts", dtype=np.int64).tolist()
    fault = re.search(r"Test unit written to (\S+)", done.stderr)
    took = re.search(r"Done (\d+) runs in (\d+) second", done.stderr)
    figures = {
        "reader": name,
        "inputs": read + refused,
        "read": read,
        "refused": refused,
        "seconds": int(took[2]) if took else None,
        "fault": fault[1] if fault else None if done.returncode == 0 else "ended early",
    }
    return figures, done.stderr


def main():
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--reader", choices=READERS, required=True)
    parser.add_argument("--inputs", type=int, default=100_000)
    parser.add_argument("--seconds", type=int)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--child", type=Path, help=argparse.SUPPRESS)
    chosen, rest = parser.parse_known_args()
    if chosen.child is not None:
        fuzz(chosen.reader, chosen.child, rest)
        return 0
    figures, said = run(chosen.reader, chosen.inputs, chosen.seconds, chosen.seed)
    if figures["fault"]:
        print(said[-4000:], file=sys.stderr)
    print(json.dumps(figures))
    return 1 if figures["fault"] else 0


if __name__ == "__main__":
    sys.exit(main())
