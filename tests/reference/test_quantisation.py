"""What sampling alone costs: an instant rounded to samples has a standard deviation of 1 / (fs sqrt 12).

The figures are those of a uniform error over one sample (any textbook of digital signals; for an event of
unknown phase), a contact is the difference of two: sqrt 2 more. Bennett 1948, Bell Syst. Tech. J. 27:446-472.
"""

import numpy as np
import pytest

from imustride.recording import Recording
from imustride.session import Sensor

# Rate [Hz], standard deviation of an event and of a contact time [ms], to the digits worked out.
QUANTISED = [(100.0, 2.9, 4.1), (200.0, 1.4, 2.0), (500.0, 0.58, 0.82), (1000.0, 0.29, 0.41)]
EVENTS = 40_000


def recording(rate_hz):
    samples = round(12 * rate_hz)
    return Recording(
        sensor=Sensor(place="left_skate"),
        start_s=-3.217,
        rate_hz=rate_hz,
        acceleration_m_s2=np.zeros((samples, 3)),
        angular_velocity_rad_s=np.zeros((samples, 3)),
        measured=np.ones(samples, bool),
        clipped=np.zeros((samples, 2), bool),
    )


def rounded(made, instants_s):
    return made.time_s[[made.index(instant) for instant in instants_s]]


@pytest.mark.parametrize(("rate_hz", "event_ms", "contact_ms"), QUANTISED)
def test_events_of_any_phase_rounded_to_samples(rate_hz, event_ms, contact_ms):
    rng = np.random.default_rng(12)
    made = recording(rate_hz)
    on_s = rng.uniform(-2.0, 7.0, EVENTS)
    off_s = on_s + rng.uniform(0.2, 0.6, EVENTS)
    on_error, off_error = rounded(made, on_s) - on_s, rounded(made, off_s) - off_s
    expected = 1 / (rate_hz * np.sqrt(12))
    # Four standard errors of a standard deviation of so many uniform values: some 1 %.
    assert np.std(on_error) == pytest.approx(expected, rel=0.012)
    assert np.std(off_error - on_error) == pytest.approx(np.sqrt(2) * expected, rel=0.015)
    assert abs(np.mean(on_error)) < 4 * expected / np.sqrt(EVENTS)
    assert np.abs(on_error).max() <= 0.5 / rate_hz + 1e-9
    assert 1e3 * expected == pytest.approx(event_ms, abs=0.05 if rate_hz < 500 else 0.005)
    assert 1e3 * np.sqrt(2) * expected == pytest.approx(contact_ms, abs=0.05 if rate_hz < 500 else 0.005)


@pytest.mark.parametrize("rate_hz", [100.0, 1000.0])
def test_what_lies_outside_goes_to_the_nearest_end(rate_hz):
    made = recording(rate_hz)
    assert made.index(-100.0) == 0
    assert made.index(100.0) == len(made.measured) - 1
