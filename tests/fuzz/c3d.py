"""C3D under the fuzzer: the reader's child is a fork, a hundred times as fast as a process that loads its library anew."""

import io
import os
import select
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np

from tests.fuzz.common import FoundError, signals

FAULTS = (signal.SIGSEGV, signal.SIGABRT, signal.SIGBUS, signal.SIGFPE, signal.SIGILL, signal.SIGXCPU)
RATE_HZ = 100.0
MOST_S = 1  # a damaged count can keep the library busy for as long as it may; nothing that takes so long is worth more


class Fork:
    """Stands where the reader has `subprocess`."""

    TimeoutExpired = subprocess.TimeoutExpired
    CompletedProcess = subprocess.CompletedProcess

    def __init__(self):
        import ezc3d  # noqa: F401 - loaded once, before all forks

        from imustride.loaders import c3d_child

        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
        c3d_child.MOST_BYTES += pages * os.sysconf("SC_PAGE_SIZE")  # what is loaded is not the file's
        self.main = c3d_child.main

    def run(self, command, **_):
        """Read as the child does that the command names."""
        with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as said:
            child = os.fork()
            if child == 0:
                self.end(command[3:], out.fileno(), said.fileno())
            late = self.is_late(child)
            if late:
                os.kill(child, signal.SIGKILL)
            status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
            if late:
                raise subprocess.TimeoutExpired(command, MOST_S)
            for file in (out, said):
                file.seek(0)
            return subprocess.CompletedProcess(command, status, out.read(), said.read())

    @staticmethod
    def is_late(child):
        """Wait for the child to end, as long as it may take."""
        ends = os.pidfd_open(child)
        try:
            return not select.select([ends], [], [], MOST_S)[0]
        finally:
            os.close(ends)

    def end(self, arguments, out, said):
        """Be the child, without the fuzzer's handlers of faults, and end."""
        status = 1
        try:
            for number in FAULTS:
                signal.signal(number, signal.SIG_DFL)
            os.dup2(out, 1)
            os.dup2(said, 2)
            sys.stdout, sys.stderr = (
                io.TextIOWrapper(io.FileIO(number, "w", closefd=False)) for number in (1, 2)
            )
            status = self.main(arguments)
            sys.stdout.flush()
            sys.stderr.flush()
        finally:
            os._exit(status)


class C3d:
    """C3D of this program, and of another one with points and several samples a frame."""

    suffix = ".c3d"

    def __init__(self):
        from imustride.exporting.c3d import ACCELERATION, ANGULAR_VELOCITY
        from imustride.loaders import c3d, load_file
        from imustride.session import Columns, Sensor, Units

        c3d.subprocess = Fork()
        self.read = load_file
        self.sensor = Sensor(
            place="trunk",
            columns=Columns(acceleration=ACCELERATION, angular_velocity=ANGULAR_VELOCITY),
            units=Units(acceleration="m/s^2", angular_velocity="rad/s"),
            rate_hz=RATE_HZ,
        )

    def seeds(self):
        from imustride.exporting.c3d import write_c3d
        from imustride.recording import Recording

        values = signals()
        acceleration, turning = values[:, 1:4], values[:, 4:]
        measured = np.arange(len(values)) != 5
        clipped = np.zeros((len(values), 2), dtype=bool)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "seed.c3d"
            write_c3d(path, Recording(self.sensor, 0.5, RATE_HZ, acceleration, turning, measured, clipped))
            yield path.read_bytes()
            self.write_foreign(path, values[:, 1:].T)
            yield path.read_bytes()

    def write_foreign(self, path, rows):
        """Two samples a frame, two points, a unit that is wrong."""
        import ezc3d

        file = ezc3d.c3d()
        file["parameters"]["POINT"]["RATE"]["value"] = [RATE_HZ / 2]
        file["parameters"]["POINT"]["LABELS"]["value"] = ["heel", "toe"]
        file["parameters"]["ANALOG"]["RATE"]["value"] = [RATE_HZ]
        columns = self.sensor.columns
        file["parameters"]["ANALOG"]["LABELS"]["value"] = [*columns.acceleration, *columns.angular_velocity]
        file["parameters"]["ANALOG"]["UNITS"]["value"] = ["V"] * 6
        file["data"]["points"] = np.ones((4, 2, rows.shape[1] // 2))
        file["data"]["analogs"] = rows[np.newaxis]
        file.write(str(path))

    def check(self, path, data):
        path.write_bytes(data)
        log = self.read(path, None, self.sensor)
        count = len(log.time_s)
        shapes = {log.acceleration_m_s2.shape, log.angular_velocity_rad_s.shape}
        if not (0 < count <= len(data) and shapes == {(count, 3)} and (np.diff(log.time_s) > 0).all()):
            message = f"{count} samples of {len(data)} bytes"
            raise FoundError(message)
