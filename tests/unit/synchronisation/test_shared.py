"""Shared shocks with known clocks: how many, offset, drift, and which blow belongs to one foot alone."""

import numpy as np
import pytest

from imustride.kinematics import Cut
from imustride.recording import Recording
from imustride.session import Sensor
from imustride.synchronisation.shared import shared_shocks, strength

RATE_HZ = 400.0
HEELS, LATE = ((4.0, 60.0), (5.0, 45.0)), ((24.0, 50.0), (25.1, 60.0))
MOTION = (10.0, 20.0)


def skate(place, blows, offset_s=0.0, drift=0.0, length_s=27.0, lifted_s=(), seed=0):
    """Log blows (true time, size) as short rings on a clock of its own; heels are lifted slowly before `lifted_s`."""
    rng = np.random.default_rng(seed)
    true = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    force = rng.normal([0.0, 0.0, 9.81], 0.05, (len(true), 3))
    for at_s, size in blows:
        late = np.maximum(true - at_s, 0.0)
        force += size * (np.exp(-late / 0.012) * np.sin(2 * np.pi * 70 * late))[:, None] * [0.3, 0.2, 0.93]
    turning = rng.normal(0, 0.002, (len(true), 3))
    for at_s in lifted_s:
        turning[:, 1] += 1.5 * np.exp(-(((true - at_s + 0.3) / 0.15) ** 2))
    moving = (true > MOTION[0]) & (true < MOTION[1])
    force += moving[:, None] * rng.normal(0, 5.0, (len(true), 3))
    return Recording(
        sensor=Sensor(place=place),
        start_s=offset_s,
        rate_hz=RATE_HZ / (1 + drift),
        acceleration_m_s2=force,
        angular_velocity_rad_s=turning,
        measured=np.ones(len(true), dtype=bool),
        clipped=np.zeros((len(true), 2), dtype=bool),
    )


def cut_of(recording, drift=0.0):
    begin_s, end_s = (recording.start_s + at_s * (1 + drift) for at_s in MOTION)
    return Cut((begin_s - 3.0, begin_s - 0.1), (begin_s, end_s))


def of_run(drift=0.0, left=HEELS + LATE, right=HEELS + LATE):
    one, other = skate("left_skate", left), skate("right_skate", right, -12.5, drift, seed=1)
    return shared_shocks(one, other, (cut_of(one), cut_of(other, drift)))


@pytest.mark.parametrize("drift", [0.0, 80e-6, -400e-6, 3e-3, -5e-3])
def test_drift_is_measured_whatever_it_is(drift):
    found = of_run(drift)
    assert (found.before, found.after) == (2, 2)
    # The first clock runs slower than the second by the second's drift.
    assert found.drift == pytest.approx(-drift / (1 + drift), abs=3 * found.drift_sd)
    assert found.drift_sd < 60e-6
    middle_s = 15.0
    assert found.offset_s == pytest.approx(12.5 - middle_s * drift, abs=3 * found.offset_sd_s + abs(drift))


@pytest.mark.parametrize(
    ("left", "right", "counts"),
    [(HEELS, HEELS, (2, 0)), (LATE, HEELS + LATE, (0, 2)), (HEELS, LATE, (0, 0)), ((), (), (0, 0))],
)
def test_shocks_on_one_side_leave_the_drift_open(left, right, counts):
    found = of_run(left=left, right=right)
    assert (found.before, found.after) == counts
    assert np.isnan(found.drift)
    assert np.isfinite(found.offset_s) == (sum(counts) > 0)


def test_taps_belong_to_one_foot():
    left = skate("left_skate", (*HEELS, (7.0, 80.0), (9.0, 1.5)), length_s=10.0, lifted_s=(4.0, 5.0))
    right = skate(
        "right_skate", (*HEELS, (7.0, 1.5), (9.0, 70.0)), 400.0, length_s=10.0, lifted_s=(4.0, 5.0), seed=1
    )
    found = shared_shocks(left, right, None)
    assert (found.before, found.after) == (2, 0)
    assert found.offset_s == pytest.approx(-400.0, abs=0.002)
    np.testing.assert_allclose(found.blows[:, 0], [4.0, 5.0, 7.0, 9.0], atol=0.01)
    ratio = found.blows[:, 1] / found.blows[:, 2]
    assert (np.abs(np.log(ratio[:2])) < np.log(2)).all()
    assert ratio[2] > 10
    assert ratio[3] < 0.1


def test_strength_is_that_of_the_shaking():
    one = skate("left_skate", [(4.0, 60.0)], length_s=6.0)
    # A ring of 60 m/s^2 that dies in 12 ms, over 68 ms.
    expected = 60.0 * np.sqrt(0.5 * 0.006 / 0.068)
    assert strength(one, 4.0) == pytest.approx(expected, rel=0.15)
    assert strength(one, 2.0) < 0.2
    assert strength(one, -3.0) == 0.0
