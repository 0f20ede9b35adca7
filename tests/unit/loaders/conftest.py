import numpy as np
import pytest

from imustride.session import Columns, Sensor, Units

NAMES = ("t", "ax", "ay", "az", "gx", "gy", "gz")


@pytest.fixture
def declare():
    """A sensor that declares everything in SI units, with changes."""

    def _declare(**changes) -> Sensor:
        declared = {
            "place": "left_skate",
            "columns": Columns(time="t", acceleration=NAMES[1:4], angular_velocity=NAMES[4:]),
            "units": Units(time="s", acceleration="m/s^2", angular_velocity="rad/s"),
        }
        return Sensor(**{**declared, **changes})

    return _declare


@pytest.fixture
def sensor(declare) -> Sensor:
    return declare()


@pytest.fixture
def rows() -> np.ndarray:
    """Twenty rows: time and six columns with different values, short in decimal."""
    count = np.arange(20)
    return np.column_stack((count / 100, *(count * scale + offset for scale, offset in
                           ((0.25, 1), (-0.5, 2), (0.125, 9.75), (1.5, -3), (2.25, 0), (-0.75, 8)))))  # fmt: skip
