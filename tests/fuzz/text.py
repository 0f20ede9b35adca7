"""Delimited text under the fuzzer: the plain kind is read again, slowly."""

import csv
import io
import math
import re

import numpy as np

from tests.fuzz.common import NAMES, FoundError, measurable, sensor, signals


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
        from imustride.session import Units

        self.read = lambda path, group, sensor: as_log(read(path, group, sensor), path, group, sensor)
        plain = sensor()
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
        if any(note.startswith("the last line is cut off") for note in log.notes):
            lines = lines.rstrip("\n").rpartition("\n")[0]
        rows = [row for row in csv.reader(io.StringIO(lines, newline=""), skipinitialspace=True) if row]
        header = [name.strip() for name in rows[0]]
        if any(name not in header for name in NAMES):
            return  # a unit behind a name
        del rows[0]
        found = np.column_stack((log.time_s, log.acceleration_m_s2, log.angular_velocity_rad_s))
        wanted = measurable(np.array([[number(row[header.index(name)]) for name in NAMES] for row in rows]))
        if found.shape != wanted.shape or not np.allclose(found, wanted, rtol=1e-12, atol=0, equal_nan=True):
            message = f"read other values than are written: {found.shape} {wanted.shape}"
            raise FoundError(message)


def number(cell):
    """A cell as a number; NaN for a word that stands for none."""
    cell = cell.strip()
    return math.nan if cell in {"", "nan", "NaN", "NAN", "NA", "N/A", "n/a", "null"} else float(cell)
