import datetime as dt

import pytest

from imustride.preparing.kit import Kit, read_kit
from imustride.preparing.roster import read_roster

HEADER = "date,time,athlete,consent,run,left_skate_device,right_skate_device,gate_30.48_m_time_s"
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
position_m = [0.0, 0.04, 0.1]
[[devices]]
device = "S041"
acceleration_range_g = 16
[[devices]]
device = "S042"
[[devices]]
device = "S043"
[[devices]]
device = "S044"
"""


@pytest.fixture
def roster(tmp_path):
    """Write lines below a header as a list and read it."""

    def make(*lines, header=HEADER, written="utf-8", **options):
        path = tmp_path / "list.csv"
        path.write_bytes("\n".join([header, *lines, ""]).encode(written))
        return read_roster(path, **options)

    return make


@pytest.fixture
def kit(tmp_path) -> Kit:
    (tmp_path / "kit.toml").write_text(KIT, encoding="utf-8")
    return read_kit(tmp_path / "kit.toml")


@pytest.fixture
def day():
    return dt.date(2026, 10, 3)
