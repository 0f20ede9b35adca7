"""The rocking sensor obeys its own equation: frequency, decay, and no effect where it is stiff."""

import numpy as np
import pytest

from tests.generators.fitted import first_fitted, second_fitted
from tests.generators.loose import LooseMount, draw_loose_mount, rocked

GRID_HZ = 4000.0


def struck(size_m_s2=200.0):
    """Give a blow of 4 ms on a skate that stands still."""
    time_s = np.arange(round(2 * GRID_HZ)) / GRID_HZ
    blow = np.where(
        (time_s > 0.5) & (time_s < 0.504), size_m_s2 * np.sin(np.pi * (time_s - 0.5) / 0.004), 0.0
    )
    force = np.tile([0.0, 0.0, 9.81], (len(time_s), 1))
    force[:, 1] += blow
    return time_s, force, np.zeros_like(force)


def test_it_rings_at_its_own_frequency_and_decay():
    time_s, force, rate = struck()
    mount = LooseMount(20.0, 0.05, (1.0, 0.0, 0.0), (0.0, 0.0, 0.003))
    _, turning = rocked(mount, force, rate, GRID_HZ)
    x = turning[:, 0]
    rising = np.flatnonzero((x[:-1] < 0) & (x[1:] >= 0) & (time_s[:-1] > 0.51))
    assert np.diff(time_s[rising]).mean() == pytest.approx(1 / (20.0 * np.sqrt(1 - 0.05**2)), rel=0.005)
    peaks = [np.abs(x[(time_s >= at) & (time_s < at + 0.05)]).max() for at in (0.52, 0.62, 0.72)]
    # The decay of the amplitude in two periods of a tenth of a second.
    assert np.diff(np.log(peaks)) == pytest.approx(-0.1 * 2 * np.pi * 20 * 0.05, rel=0.03)
    np.testing.assert_allclose(turning[:, 1:], 0, atol=1e-12)


def test_the_kick_is_that_of_the_blow():
    time_s, force, rate = struck()
    arm_m, gyration_m = 0.003, 0.013
    mount = LooseMount(20.0, 0.05, (1.0, 0.0, 0.0), (0.0, 0.0, arm_m), gyration_m)
    _, turning = rocked(mount, force, rate, GRID_HZ)
    impulse_m_s = 200.0 * 0.004 * 2 / np.pi
    expected = arm_m * impulse_m_s / (gyration_m**2 + arm_m**2)
    assert np.abs(turning[time_s < 0.52, 0]).max() == pytest.approx(expected, rel=0.1)


def test_a_stiff_mount_changes_nothing():
    _, force, rate = struck()
    felt, turning = rocked(LooseMount(1500.0, 0.3, (1.0, 0.0, 0.0), (0.0, 0.0, 0.001)), force, rate, GRID_HZ)
    assert np.abs(turning).max() < 0.3
    np.testing.assert_allclose(felt[-100:], force[-100:], atol=1e-3)


@pytest.mark.parametrize("simulate", [first_fitted, second_fitted])
def test_only_the_loose_side_differs(simulate):
    mount = {"left": draw_loose_mount(np.random.default_rng(3))}
    tight, loose = simulate(3, fitting=True), simulate(3, fitting=True, loose=mount)
    for place in ("left_skate", "right_skate"):
        same = np.array_equal(
            tight.logs[place].angular_velocity_rad_s, loose.logs[place].angular_velocity_rad_s
        )
        assert same == (place == "right_skate")
        assert 8.0 < tight.logs[place].time_s[-1] - tight.logs[place].time_s[0] < 20.0
