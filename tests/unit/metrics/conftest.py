import numpy as np
import pytest

from imustride.kinematics import Clock, Cut, Kinematics
from imustride.metrics.pushes import Foot
from imustride.metrics.view import PushView

RATE_HZ = 200.0


@pytest.fixture
def skate():
    """Make a skate that stands upright until 2 s of its clock and glides upright to 20 s, with changes."""

    def make(side="left", rate_hz=RATE_HZ, **changes):
        samples = round(20 * rate_hz)
        made = {
            "side": side,
            "start_s": 0.0,
            "rate_hz": rate_hz,
            "acceleration_m_s2": np.tile([0.0, 0.0, 9.81], (samples, 1)),
            "angular_velocity_rad_s": np.zeros((samples, 3)),
            "earth_from_segment": np.tile(np.eye(3), (samples, 1, 1)),
            "velocity_m_s": np.zeros((samples, 3)),
            "measured": np.ones(samples, bool),
            "clipped": np.zeros((samples, 2), bool),
            "cut": Cut((0.0, 2.0), (2.0, 20.0)),
        }
        return Kinematics(**{**made, **changes})

    return make


@pytest.fixture
def gap(skate):
    """Make a skate with a hole in its record [s]."""

    def make(from_s, to_s, side="left", **changes):
        time_s = np.arange(round(20 * RATE_HZ)) / RATE_HZ
        return skate(side, measured=(time_s < from_s) | (time_s > to_s), **changes)

    return make


@pytest.fixture
def foot(skate):
    """Make a foot of contacts (on, off) [s], all of them pushes."""

    def make(side, contacts, kinematics=None, clock=None, pushes=None):
        kept = np.array(contacts, float).reshape(-1, 2)
        number = len(kept) if pushes is None else pushes
        return Foot(kinematics or skate(side), clock or Clock(), kept, number)

    return make


@pytest.fixture
def view(skate):
    """Make the view of pushes with given blade-offs; each is on the ice for 0.4 s before."""

    def make(off_s, kinematics=None, **changes):
        off_s = np.asarray(off_s, float)
        nothing = np.full(len(off_s), np.nan)
        events = {"on_s": off_s - 0.4, "off_s": off_s, "next_on_s": nothing, "other_on_s": nothing}
        return PushView(kinematics or skate(), **{**events, **changes})

    return make
