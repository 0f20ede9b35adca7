"""Motion-BIDS under the fuzzer: one file of a dataset is mutated, the others stand as they were."""

import json
import math

import numpy as np

from tests.fuzz.common import FoundError, measurable, signals

STEM = "sub-A07/ses-20261003/motion/sub-A07_ses-20261003_task-sprint_tracksys-S1_run-1"
CHANNELS = "name\tcomponent\ttype\ttracked_point\tunits\n" + "".join(
    f"{name}\t{component}\t{kind}\t{point}\t{unit}\n"
    for name, component, kind, point, unit in (
        ("latency", "n/a", "LATENCY", "n/a", "s"),
        *((f"acc_{axis}", axis, "ACCEL", "left-skate", "m/s^2") for axis in "xyz"),
        *((f"gyr_{axis}", axis, "GYRO", "left-skate", "rad/s") for axis in "xyz"),
    )
)


class Bids:
    """A dataset of one run of one skate; the first byte names the file that is mutated."""

    suffix = "_motion.tsv"

    def __init__(self):
        from imustride.loaders import load, open_session

        self.load, self.open_session = load, open_session
        declared = {
            "date": "2026-10-03",
            "surface": "ice",
            "sensors": [{"place": "left_skate", "device": "S041"}],
        }
        sidecar = {
            "TaskName": "sprint",
            "SamplingFrequency": 100,
            "DeviceSerialNumber": "S041",
            "Runs": [{"name": "run-1", "number": 1}],
        }
        self.files = {
            f"{STEM}_motion.tsv": "".join("\t".join(map(repr, row)) + "\n" for row in signals().tolist()),
            f"{STEM}_channels.tsv": CHANNELS,
            f"{STEM}_motion.json": json.dumps(sidecar, indent=1),
            "sub-A07/sub-A07_sessions.json": json.dumps(
                {"SessionDeclaration": {"ses-20261003": declared}}, indent=1
            ),
            "dataset_description.json": json.dumps({"Name": "lab", "BIDSVersion": "1.11.0"}, indent=1),
        }

    def seeds(self):
        for at, content in enumerate(self.files.values()):
            yield bytes([at]) + content.encode()
        yield b"\0" + next(iter(self.files.values())).replace("9.75", "n/a").replace("0.5", "5E-1").encode()

    def check(self, path, data):
        root = path.parent / "lab"
        for name, content in self.files.items():
            (root / name).parent.mkdir(parents=True, exist_ok=True)
            (root / name).write_text(content, encoding="utf-8")
        mutated = list(self.files)[data[0] % len(self.files) if data else 0]
        (root / mutated).write_bytes(data[1:])
        session = self.open_session(root)
        for run in session.runs:
            for place in run.files:
                log = self.load(session, run, place)
                if mutated.endswith(self.suffix):
                    self.compare(data[1:], log)

    def compare(self, raw, log):
        """Read the table again, cell by cell."""
        lines = raw.decode("utf-8").replace("\r\n", "\n").replace("\r", "\n").split("\n")
        cells = [[number(cell) for cell in line.split("\t")] for line in lines if line.strip()]
        wanted = measurable(np.array(cells))
        found = np.column_stack((log.time_s, log.acceleration_m_s2, log.angular_velocity_rad_s))
        if found.shape != wanted.shape or not np.array_equal(found, wanted, equal_nan=True):
            message = f"read other values than are written: {found.shape} {wanted.shape}"
            raise FoundError(message)


def number(cell):
    """A cell as a number; NaN where there is none."""
    return math.nan if cell.strip() == "n/a" else float(cell)
