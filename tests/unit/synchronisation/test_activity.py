import numpy as np
import pytest

from imustride.recording import Recording
from imustride.session import Sensor
from imustride.synchronisation.activity import activity_lag_s

BOUTS_S = ((20.0, 27.0), (60.0, 66.0), (61.0, 75.0), (130.0, 138.0))


def log(place, begin_s, end_s, offset_s, rate_hz, phase):
    """Logs of one session in true time, seen on a clock that is ahead by `offset_s`."""
    time_s = np.arange(begin_s, end_s, 1 / rate_hz)
    moving = np.zeros(len(time_s), bool)
    for first, last in BOUTS_S:
        moving |= (time_s > first) & (time_s < last)
    rate = np.zeros((len(time_s), 3))
    rate[:, 1] = moving * 8 * np.sin(2 * np.pi * 1.4 * time_s + phase)
    force = np.tile([0.0, 0.0, 9.81], (len(time_s), 1))
    return Recording(
        Sensor(place=place),
        begin_s + offset_s,
        rate_hz,
        force,
        rate,
        np.ones(len(time_s), bool),
        np.zeros((len(time_s), 2), bool),
    )


@pytest.mark.parametrize(
    ("begin_s", "end_s", "offset_s"), [(0.0, 150.0, 0.0), (15.0, 150.0, 1.6e9), (0.0, 100.0, -37.4)]
)
def test_the_lag_is_found_with_any_clock_and_span(begin_s, end_s, offset_s):
    one = log("left_skate", 0.0, 150.0, 0.0, 200.0, 0.0)
    other = log("right_skate", begin_s, end_s, offset_s, 148.148, np.pi)
    assert activity_lag_s(one, other) == pytest.approx(-offset_s, abs=0.3)
