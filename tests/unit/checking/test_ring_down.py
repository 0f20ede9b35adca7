"""Ringing after a blow: found where it is planted, with its frequency and decay, and nowhere else."""

from dataclasses import replace

import numpy as np
import pytest

from imustride.checking.ring_down import rings, rings_after
from imustride.registry import methods

LOOSE = methods("checking")["loose"]
BLOWS_S = (2.0, 3.0, 15.0, 16.0)


def ringing(sensor, hz, decay_s, size_deg_s, blows_s=BLOWS_S):
    """Add damped oscillations of the angular velocity that begin at the blows."""
    time_s = sensor.recording.time_s
    added = np.zeros_like(time_s)
    for at_s in blows_s:
        late = np.maximum(time_s - at_s, 0.0)
        added += size_deg_s * np.exp(-late / decay_s) * np.sin(2 * np.pi * hz * late)
    turning = sensor.recording.angular_velocity_rad_s + np.radians(added)[:, None] * [0.6, 0.0, 0.8]
    recording = replace(sensor.recording, angular_velocity_rad_s=turning)
    return replace(sensor, recording=recording, blows_s=np.array(BLOWS_S))


@pytest.mark.parametrize(("hz", "decay_s"), [(12.0, 0.25), (31.0, 0.1), (70.0, 0.06)])
@pytest.mark.parametrize("rate_hz", [200.0, 220.0])
def test_frequency_and_decay_are_found(hz, decay_s, rate_hz):
    time_s = np.arange(round(0.3 * rate_hz)) / rate_hz
    noise = np.random.default_rng(1).normal(0, 0.02, (len(time_s), 3))
    wave = np.exp(-time_s / decay_s) * np.sin(2 * np.pi * hz * time_s + 0.4)
    found = rings(3.0 * wave[:, None] * [0.0, 0.6, 0.8] + noise, rate_hz)[0]
    assert found.hz == pytest.approx(hz, rel=0.01)
    assert found.decay_s == pytest.approx(decay_s, rel=0.05)
    assert found.size == pytest.approx(3.0, rel=0.05)
    assert found.damping == pytest.approx(1 / (2 * np.pi * hz * decay_s), rel=0.06)


def test_two_rings_are_told_apart():
    time_s = np.arange(66) / 220.0
    one = 5.0 * np.exp(-time_s / 0.02) * np.sin(2 * np.pi * 60 * time_s)
    two = 1.0 * np.exp(-time_s / 0.15) * np.sin(2 * np.pi * 22 * time_s)
    found = {round(ring.hz): ring for ring in rings(np.stack((one, two, one + two), axis=1), 220.0)}
    assert found[60].decay_s == pytest.approx(0.02, rel=0.01)
    assert found[22].decay_s == pytest.approx(0.15, rel=0.01)


def test_a_loose_sensor_is_named_with_its_ring(sensor, limits):
    outcome = LOOSE.judge(ringing(sensor, 24.0, 0.14, 20.0), limits)
    assert outcome.verdict == "fail"
    assert outcome.measured == "rings at 24 Hz for 140 ms after 4 of 4 blows"


@pytest.mark.parametrize(
    ("hz", "decay_s", "size_deg_s"),
    [
        (60.0, 0.025, 200.0),  # skate and boot
        (20.0, 0.05, 200.0),  # a device's own low pass, heavily damped
        (180.0, 0.2, 50.0),  # too fast for a mount
        (3.0, 0.5, 10.0),  # sway
        (24.0, 0.14, 0.2),  # too faint
    ],
)
def test_other_ringing_is_no_loose_sensor(sensor, limits, hz, decay_s, size_deg_s):
    assert LOOSE.judge(ringing(sensor, hz, decay_s, size_deg_s), limits).verdict == "pass"


def test_one_odd_blow_of_four_is_not_enough(sensor, limits):
    assert LOOSE.judge(ringing(sensor, 24.0, 0.14, 20.0, BLOWS_S[:1]), limits).verdict == "pass"


def test_two_of_four_blows_are_not_enough_and_three_are(sensor, limits):
    """More than six tenths of the blows must ring: the rest of a blow may look like a ring once or twice."""
    assert LOOSE.judge(ringing(sensor, 24.0, 0.14, 20.0, BLOWS_S[:2]), limits).verdict == "pass"
    outcome = LOOSE.judge(ringing(sensor, 24.0, 0.14, 20.0, BLOWS_S[:3]), limits)
    assert outcome.measured == "rings at 24 Hz for 140 ms after 3 of 4 blows"


def test_blows_that_ring_at_different_frequencies_show_no_mount(sensor, limits):
    view = sensor
    for hz, blow_s in zip((15.0, 22.0, 32.0, 47.0), BLOWS_S, strict=True):
        view = ringing(view, hz, 0.14, 20.0, (blow_s,))
    assert LOOSE.judge(view, limits).verdict == "pass"


def test_a_faint_ring_beside_a_loud_one_is_a_ghost_of_the_fit(sensor, limits):
    """After 50 ms 100 deg/s that last 30 ms are 19, of which 1.5 that last 140 ms are 6 %, less than the 12 that count."""
    loud = ringing(sensor, 60.0, 0.03, 100.0)
    assert LOOSE.judge(ringing(loud, 24.0, 0.14, 1.5), limits).verdict == "pass"
    assert LOOSE.judge(ringing(loud, 24.0, 0.14, 20.0), limits).verdict == "fail"


def test_a_blow_with_no_time_to_ring_says_nothing(sensor, limits):
    assert rings_after(sensor.recording, 2.0, 2.1) is None
    assert rings_after(sensor.recording, 19.95, np.inf) is None
    holed = np.ones(len(sensor.recording.measured), dtype=bool)
    holed[1050] = False
    assert rings_after(replace(sensor.recording, measured=holed), 2.0, 3.0) is None
    assert LOOSE.judge(replace(sensor, blows_s=np.array([19.95])), limits).verdict == "not told"


def test_flesh_may_ring(sensor, limits):
    view = ringing(sensor, 24.0, 0.14, 20.0)
    thigh = view.recording.sensor.model_copy(update={"place": "left_thigh"})
    assert LOOSE.judge(replace(view, recording=replace(view.recording, sensor=thigh)), limits) is None
