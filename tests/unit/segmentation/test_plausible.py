import numpy as np
import pytest

from imustride.segmentation.plausible import PlausibleSettings, plausible

RATE_HZ = 200.0
FOUND = [(0, 200), (260, 340), (400, 480), (540, None)]


def course(*pulses, samples=700):
    """Pitch [rad] and its rate [rad/s]: heel rises at the given samples by 25 degrees and falls back 30 later."""
    pitch = np.zeros(samples)
    at = np.arange(samples)
    for middle in pulses:
        rise, back = (1 / (1 + np.exp(-(at - shift) / 2.5)) for shift in (middle, middle + 30))
        pitch += np.radians(25.0) * (rise - back)
    return pitch, np.gradient(pitch) * RATE_HZ


def check(found, pitch, rate):
    return plausible(found, pitch, rate, RATE_HZ, PlausibleSettings())


def test_ordinary_contacts_stay():
    assert check(FOUND, *course(200, 340, 480)) == FOUND


def test_a_lift_off_without_a_rising_heel_is_taken_back():
    # Nothing turns between 340 and 400: a blade that scraped sideways.
    assert check(FOUND, *course(200, 480)) == [(0, 200), (260, 480), (540, None)]


def test_a_short_contact_far_toe_down_is_no_landing():
    pitch, rate = course(200, 340, 480)
    pitch = pitch.copy()
    pitch[260:300] = np.radians(40.0)
    short = [(0, 200), (260, 295), (400, 480), (540, None)]
    assert check(short, pitch, rate) == [(0, 200), (400, 480), (540, None)]


@pytest.mark.parametrize("found", [[(0, None)], [(0, 200), (260, None)]])
def test_few_contacts_are_no_problem(found):
    assert check(found, *course(200)) == found
