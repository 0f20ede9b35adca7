"""What the harnesses of all readers share: a fault, and the values that their seeds hold."""

import numpy as np

NAMES = ("t", "ax", "ay", "az", "gx", "gy", "gz")


class FoundError(Exception):
    """A fault of a reader."""


def signals(rows=24):
    """Values of a small file: time and six columns."""
    count = np.arange(rows)
    scales = ((0.25, 1), (-0.5, 2), (0.125, 9.75), (1.5, -3), (2.25, 0), (-0.75, 8))
    return np.column_stack((count / 100, *(count * scale + offset for scale, offset in scales)))


def sensor(acceleration=NAMES[1:4], angular_velocity=NAMES[4:]):
    """A sensor with seven columns, in SI units."""
    from imustride.session import Columns, Sensor, Units

    return Sensor(
        place="trunk",
        columns=Columns(time="t", acceleration=acceleration, angular_velocity=angular_velocity),
        units=Units(time="s", acceleration="m/s^2", angular_velocity="rad/s"),
    )


def table(samples):
    """All columns of what was read."""
    return np.column_stack((samples.time, samples.acceleration, samples.angular_velocity))


def measurable(values, most=1e6):
    """Time and samples in SI units as a reader gives them: numbers that no sensor gives are missing."""
    time, samples = values[:, :1], values[:, 1:]
    return np.column_stack((time, np.where(np.abs(samples) > most, np.nan, samples)))
