"""C3D under the fuzzer."""

import tempfile
from pathlib import Path

import numpy as np

from tests.fuzz.common import FoundError, signals
from tests.fuzz.forks import Forks

RATE_HZ = 100.0


class C3d:
    """C3D of this program, and of another one with points and several samples a frame."""

    suffix = ".c3d"

    def __init__(self):
        from imustride.exporting.c3d import ACCELERATION, ANGULAR_VELOCITY
        from imustride.loaders import apart, load_file
        from imustride.session import Columns, Sensor, Units

        apart.subprocess = Forks("ezc3d")
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
