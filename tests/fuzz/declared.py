"""What people write by hand, under the fuzzer: sessions, calibrations, kits, lists and times of gates."""

import datetime as dt

import numpy as np

from tests.fuzz.common import FoundError


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
