from dataclasses import replace

import numpy as np
import pytest

from imustride.checking.quiet import quietest
from imustride.checking.view import graded, graded_low, worst


@pytest.mark.parametrize(
    ("value", "verdict", "strain"),
    [(2.0, "pass", 0.5), (4.0, "pass", 1.0), (6.0, "warn", 1.5), (12.0, "fail", 3.0)],
)
def test_small_is_good(value, verdict, strain):
    assert graded(value, (4.0, 10.0)) == (verdict, strain)


@pytest.mark.parametrize(
    ("value", "verdict", "strain"), [(400.0, "pass", 0.5), (150.0, "warn", 4 / 3), (80.0, "fail", 2.5)]
)
def test_large_is_good(value, verdict, strain):
    assert graded_low(value, (200.0, 100.0)) == (verdict, pytest.approx(strain))


def test_the_worst_counts():
    assert worst([("pass", 0.9), ("fail", 3.0), ("warn", 1.5)]) == ("fail", 3.0)
    assert worst([("warn", 1.2), ("pass", 0.4)]) == ("warn", 1.2)
    assert worst([("pass", 0.4), ("pass", 0.9)]) == ("pass", 0.9)


def test_the_quietest_moments_tell_the_noise(sensor):
    acceleration, turning = quietest(sensor.recording)
    assert acceleration == pytest.approx(0.03, rel=0.1)
    assert turning == pytest.approx(0.08, rel=0.1)


def test_a_run_is_as_quiet_as_its_stance(sensor):
    """Four fifths of the log shaken ten times as hard: the calmest tenth lies in the rest."""
    shaken = np.where(np.arange(10_000) < 8000, 10.0, 1.0)[:, None]
    values = sensor.recording.angular_velocity_rad_s * shaken
    _, turning = quietest(replace(sensor.recording, angular_velocity_rad_s=values))
    assert turning == pytest.approx(0.08, rel=0.1)
