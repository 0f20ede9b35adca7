"""Readers against mutated bytes: python -m tests.benchmark.fuzz --reader delimited [--inputs 1000000] [--seconds 60] [--seed 1]

A coverage-guided fuzzer (atheris) mutates files of a seed corpus made by code. Each input is read in the same process;
an input is read or refused in one printable line, within 10 s and 1 GiB. What is read is checked:

- delimited text of the plain kind (comma, point, UTF-8, nothing above the header) against a slow reading by Python's csv module;
- HDF5 whose every structure and value carries a checksum against the values that were written;
- tables, session and day files against their own limits.

Ends at the first fault and leaves its input in a file that the last line names. Prints one line of JSON.
"""

import argparse
import csv
import datetime as dt
import io
import json
import math
import os
import re
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

MEMORY = Path("/dev/shm")  # noqa: S108 - a million files in a folder of its own there wear no disk
LONGEST_S = 10
MOST_MIB = 1024
NAMES = ("t", "ax", "ay", "az", "gx", "gy", "gz")
WORDS = ("nan", "NA", "1e400", "-1e400", "0x10", "1_0", "inf", "\\xef\\xbb\\xbf", "\\xff\\xfe", "\\x00", "\\x0d\\x0a", "\\x0d",
         ";", "\\x09", "\\x22", "\\x22\\x22", "=1+1", "1,5", "1.5e", ",,,,,,", "2026-10-03T14:05:06.5Z", "[g]", "(dps)", "s,g,g,g",
         "[[", "]]", "'''", "\\x22\\x22\\x22", "{a={", "a.b.c=1", "1979-05-27", "#", "\\\\u0000",
         "OHDR", "OCHK", "TREE", "SNOD", "HEAP", "BTHD", "FRHP", "FSHD", "\\x89HDF", "\\xff\\xff\\xff\\xff\\xff\\xff\\xff\\xff")  # fmt: skip


class FoundError(Exception):
    """A fault of a reader."""


def signals(rows=24):
    """Values of a small file: time and six columns."""
    count = np.arange(rows)
    scales = ((0.25, 1), (-0.5, 2), (0.125, 9.75), (1.5, -3), (2.25, 0), (-0.75, 8))
    return np.column_stack((count / 100, *(count * scale + offset for scale, offset in scales)))


def text(delimiter=",", decimal=".", header=NAMES, end="\n"):
    """A delimited file as text."""
    rows = [[f"{value:g}".replace(".", decimal) for value in row] for row in signals()]
    return "".join(delimiter.join(line) + end for line in (header, *rows))


class Delimited:
    """Delimited text; the first byte chooses what is declared."""

    suffix = ".csv"

    def __init__(self):
        from imustride.loaders.delimited import read
        from imustride.loaders.samples import as_log
        from imustride.session import Columns, Sensor, Units

        self.read = lambda path, group, sensor: as_log(read(path, group, sensor), path, group, sensor)
        plain = Sensor(
            place="trunk",
            columns=Columns(time="t", acceleration=NAMES[1:4], angular_velocity=NAMES[4:]),
            units=Units(time="s", acceleration="m/s^2", angular_velocity="rad/s"),
        )
        stamped = Units(time="date-time day-first", acceleration="g", angular_velocity="deg/s")
        changes = (
            {},
            {"delimiter": ";", "decimal": ","},
            {"units": stamped},
            {"units": Units(time="date-time", acceleration="g", angular_velocity="deg/s")},
            {"rate_hz": 100.0, "columns": plain.columns.model_copy(update={"time": None})},
            {"encoding": "cp1252"},
        )
        self.sensors = [plain.model_copy(update=change) for change in changes]

    def seeds(self):
        plain = text()
        rows = plain.splitlines()[1:]
        stamps = [f"03.10.2026 14:05:{10 + n:02d}.5,{row.partition(',')[2]}" for n, row in enumerate(rows)]
        units = ("t [s]", "ax [m/s^2]", "ay (m/s2)", "az", "gx", "gy", "gz [rad/s]")
        head = ",".join(NAMES) + "\n"
        yield b"\0" + plain.encode()
        yield b"\0" + b"\xef\xbb\xbf" + text(end="\r\n").encode()
        yield b"\0" + text(";", ",").encode()
        yield b"\0" + text("\t").encode("utf-16")
        yield b"\0" + ("Logger 7\n\n" + text(header=units)).encode()
        yield b"\0" + (head + "s,m/s2,m/s2,m/s2,rad/s,rad/s,rad/s\n" + "\n".join(rows)).encode()
        yield b"\0" + re.sub(r"([^,\n]+)", r'"\1"', plain).encode()
        yield b"\1" + text(";", ",").encode()
        yield b"\2" + (head + "\n".join(stamps)).encode()
        yield (
            b"\3"
            + (head + "\n".join(f"2026-10-03T14:05:{10 + n}Z,{row}" for n, row in enumerate(rows))).encode()
        )
        yield b"\4" + plain.encode()
        yield b"\5" + ("Größe\n" + plain).encode("cp1252")

    def check(self, path, data):
        which = data[0] % len(self.sensors) if data else 0
        path.write_bytes(data[1:])
        log = self.read(path, None, self.sensors[which])
        count = len(log.time_s)
        if not (0 < count <= len(data) and log.acceleration_m_s2.shape == (count, 3)):
            message = f"{count} rows of {len(data)} bytes"
            raise FoundError(message)
        if which == 0 and not any(note.startswith("read as found") for note in log.notes):
            self.compare(data[1:], log)

    def compare(self, raw, log):
        """Read the plain kind again, slowly."""
        lines = raw.decode("utf-8-sig").replace("\r\n", "\n")
        lines = re.sub(r"\A(?:[^\S\n]*\n)+", "", lines)
        if log.notes:  # the line that was left out
            lines = lines.rstrip("\n").rpartition("\n")[0]
        rows = [row for row in csv.reader(io.StringIO(lines, newline=""), skipinitialspace=True) if row]
        header = [name.strip() for name in rows[0]]
        if any(name not in header for name in NAMES):
            return  # a unit behind a name
        del rows[0]
        found = np.column_stack((log.time_s, log.acceleration_m_s2, log.angular_velocity_rad_s))
        wanted = np.array([[number(row[header.index(name)]) for name in NAMES] for row in rows])
        if found.shape != wanted.shape or not np.allclose(found, wanted, rtol=1e-12, atol=0, equal_nan=True):
            message = f"read other values than are written: {found.shape} {wanted.shape}"
            raise FoundError(message)


def number(cell):
    """A cell as a number; NaN for a word that stands for none."""
    cell = cell.strip()
    return math.nan if cell in {"", "nan", "NaN", "NAN", "NA", "N/A", "n/a", "null"} else float(cell)


class Hdf5:
    """HDF5, in blocks and whole: old and new structures, filters, links and types."""

    suffix = ".h5"

    def __init__(self):
        from imustride.loaders.hdf5 import read, read_blocks
        from imustride.session import Columns, Sensor, Units

        self.read, self.read_blocks = read, read_blocks
        self.sensor = Sensor(
            place="trunk",
            columns=Columns(time="t", acceleration="acc", angular_velocity="gyr"),
            units=Units(time="s", acceleration="m/s^2", angular_velocity="rad/s"),
        )

    def seeds(self):
        import h5py

        values = signals()
        for libver in ("earliest", "latest"):
            for options in (
                {},
                {"chunks": True, "compression": "gzip", "shuffle": True, "fletcher32": True},
                {"chunks": (7, 3), "compression": "lzf", "fletcher32": True},
            ):
                buffer = io.BytesIO()
                with h5py.File(buffer, "w", libver=libver) as file:
                    for name, block in (("t", values[:, 0]), ("acc", values[:, 1:4]), ("gyr", values[:, 4:])):
                        own = dict(options)
                        if own and block.ndim == 1:
                            own["chunks"] = (9,)
                        file.create_dataset(f"left/{name}", data=block, **own)
                    if not options:
                        file["left/soft"] = h5py.SoftLink("/left/acc")
                        file["left/text"] = "text"
                yield buffer.getvalue()

    def check(self, path, data):
        path.write_bytes(data)
        found = self.table(self.read(path, "/left", self.sensor))
        blocks = [self.table(block) for block in self.read_blocks(path, "/left", self.sensor, 10)]
        if not np.array_equal(np.concatenate(blocks), found, equal_nan=True):
            message = "blocks differ from the whole"
            raise FoundError(message)
        if self.is_checked(path) and not np.array_equal(found, signals()):
            message = "a failed checksum passed as data"
            raise FoundError(message)

    @staticmethod
    def table(samples):
        """All columns of what was read."""
        return np.column_stack((samples.time, samples.acceleration, samples.angular_velocity))

    @staticmethod
    def is_checked(path):
        """Whether the structures carry checksums (superblock 2 and later) and all three datasets too."""
        import h5py

        with h5py.File(path, "r") as file:
            return file.id.get_create_plist().get_version()[0] >= 2 and all(
                file[f"left/{name}"].fletcher32 for name in ("t", "acc", "gyr")
            )


class Gates:
    """Times of a timing system."""

    suffix = ".csv"

    def __init__(self):
        from imustride.loaders import read_gates

        self.read = read_gates

    def seeds(self):
        yield b"position_m,time_s\n0,0\n15.24,2.6\n30.48,4.832\n"
        yield b"\xef\xbb\xbftime_s,position_m,remark\r\n0,0,a\r\n4.8,30.48,\r\n"

    def check(self, path, data):
        path.write_bytes(data)
        position_m, time_s = self.read(path)
        if not (
            len(position_m) == len(time_s) >= 2
            and (np.diff(position_m) > 0).all()
            and (np.diff(time_s) > 0).all()
        ):
            message = "gates out of order"
            raise FoundError(message)


SESSION = """\
athlete = "A07"
date = 2026-10-03
surface = "ice"
protocol = "test"
latitude_deg = 60.0
delimiter = ";"
decimal = ","
[conditions]
stick = false
[columns]
time = "t"
acceleration = ["ax", "ay", "az"]
angular_velocity = ["gx", "gy", "gz"]
[units]
time = "ms"
acceleration = "g"
angular_velocity = "deg/s"
[[sensors]]
place = "left_skate"
axes = ["+x", "+y", "+z"]
position_m = [0.0, 0.04, 0.1]
calibration = "../S041/2026-09-20.toml"
[[runs]]
name = "run-1"
files = { left_skate = "log.h5#/left" }
gates = "gates.csv"
start_s = 1.5
[[movements]]
kind = "toe raise"
files = { left_skate = "left.csv" }
"""
CALIBRATION = """\
device = "S041"
date = 2026-09-20
method = "six positions"
gravity_m_s2 = 9.8191
[accelerometer]
bias_m_s2 = [0.5, -0.25, 0.125]
matrix = [[1.0, 0.5, 0.0], [0.0, 2.0, 0.0], [0.0, 0.0, 0.5]]
[gyroscope]
bias_rad_s = [0.0, 0.5, -0.5]
matrix = [[2.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.25, 0.0, 1.0]]
[residuals]
accelerometer_m_s2 = 0.003
"""
KIT = """\
surface = "ice"
protocol = "sprint-100ft"
logs = "{athlete}_{run}_{device}.csv"
changeover_min = 5
[columns]
time = "t"
acceleration = ["ax", "ay", "az"]
angular_velocity = ["gx", "gy", "gz"]
[units]
time = "s"
acceleration = "m/s^2"
angular_velocity = "deg/s"
[[places]]
place = "left_skate"
axes = ["+x", "+y", "+z"]
[[devices]]
device = "S041"
acceleration_range_g = 16
"""
ROSTER = """\
date,time,athlete,consent,run,left_skate_device,right_skate_device,gate_30.48_m_time_s
2026-10-03,14:05,A07,guardian,run-1,S041,S042,4.832
2026-10-03,14:15,B08,self,,S043,S044,
"""


class Session:
    """A session file."""

    suffix = ".toml"

    def __init__(self):
        from imustride.session import read_session

        self.read = read_session

    def seeds(self):
        yield SESSION.encode()

    def check(self, path, data):
        path.write_bytes(data)
        session = self.read(path)
        for run in session.runs:
            for written in run.files.values():
                if not session.path(written.split("#/", maxsplit=1)[0]).is_relative_to(path.parent.resolve()):
                    message = f"leads out of the session: {written!r}"
                    raise FoundError(message)


class Calibration:
    """A calibration file."""

    suffix = ".toml"

    def __init__(self):
        from imustride.calibration import read_calibration

        self.read = read_calibration

    def seeds(self):
        yield CALIBRATION.encode()

    def check(self, path, data):
        path.write_bytes(data)
        found = self.read(path)
        for part in (found.accelerometer, found.gyroscope):
            if part is not None and not (np.isfinite(part.matrix).all() and np.isfinite(part.bias).all()):
                message = "not finite"
                raise FoundError(message)


class Kit:
    """The sensors of a team."""

    suffix = ".toml"

    def __init__(self):
        from imustride.preparing.kit import read_kit

        self.read = read_kit

    def seeds(self):
        yield KIT.encode()

    def check(self, path, data):
        path.write_bytes(data)
        self.read(path)


class Roster:
    """The day's list."""

    suffix = ".csv"

    def __init__(self):
        from imustride.preparing.roster import read_roster

        self.read = read_roster

    def seeds(self):
        yield ROSTER.encode()
        yield ROSTER.replace(",", ";").replace("4.832", "4,832").encode("utf-8-sig")

    def check(self, path, data):
        path.write_bytes(data)
        found = self.read(path, dt.date(2026, 10, 3))
        if not all(line.isprintable() for line in (*found.problems, *found.notes)):
            message = "a problem of more than one line"
            raise FoundError(message)


READERS = {
    reader.__name__.casefold(): reader
    for reader in (Delimited, Hdf5, Gates, Session, Calibration, Kit, Roster)
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
