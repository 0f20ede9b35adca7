"""Standing straight and the movements around it, in recordings whose spans are known by hand."""

import numpy as np
import pytest

from imustride.cutting.standing import StandingSettings, find_standing
from imustride.errors import SignalQualityError
from imustride.recording import Recording
from imustride.session import Sensor

SD_RATE_RAD_S, SD_FORCE_M_S2 = 0.004, 0.03


def made(script, rate_hz=200.0, hole_s=None, place="left_shank"):
    """A recording of (mean turning rate [rad/s], duration [s]) pieces; it turns about its x axis, standing is 0."""
    wanted = np.concatenate([np.full(round(lasts_s * rate_hz), rate) for rate, lasts_s in script])
    wanted = wanted * (1 + 0.4 * np.sin(2 * np.pi * 3.0 * np.arange(len(wanted)) / rate_hz))
    rng = np.random.default_rng(3)
    turning = rng.normal([0.02, -0.01, 0.005], SD_RATE_RAD_S, (len(wanted), 3))
    turning[:, 0] += wanted
    force = rng.normal([0.0, 0.0, 9.81], SD_FORCE_M_S2, (len(wanted), 3))
    time_s = np.arange(len(wanted)) / rate_hz
    measured = np.ones(len(wanted), bool)
    if hole_s is not None:
        measured[(time_s > hole_s[0]) & (time_s < hole_s[1])] = False
    return Recording(
        Sensor(place=place), 50.0, rate_hz, force, turning, measured, np.zeros((len(wanted), 2), bool)
    )


def spans_s(found, rate_hz=200.0):
    return [(part.start / rate_hz, part.stop / rate_hz) for part in (found.standing, *found.movements)]


@pytest.mark.parametrize("rate_hz", [100.0, 200.0, 512.0])
def test_standing_and_two_movements_are_found_where_they_are(rate_hz):
    found = find_standing(made([(0, 3.0), (1.5, 2.0), (0, 1.5), (-1.5, 2.0), (0, 1.0)], rate_hz))
    standing, first, second = spans_s(found, rate_hz)
    # Blocks of a tenth of a second; the standing keeps 0.15 s away from either end.
    np.testing.assert_allclose(standing, (0.15, 2.85), atol=0.12)
    np.testing.assert_allclose(first, (3.0, 5.0), atol=0.12)
    np.testing.assert_allclose(second, (6.5, 8.5), atol=0.12)


def test_the_standing_holds_no_motion():
    recording = made([(0, 3.04), (1.5, 2.0), (0, 1.0)])
    standing = find_standing(recording).standing
    assert np.abs(recording.angular_velocity_rad_s[standing, 0]).max() < 0.1


def test_a_halt_at_the_bottom_does_not_cut_a_movement_in_two():
    found = find_standing(made([(0, 3.0), (1.5, 1.0), (0, 0.3), (-1.5, 1.0), (0, 2.0)]))
    assert len(found.movements) == 1
    np.testing.assert_allclose(spans_s(found)[1], (3.0, 5.3), atol=0.12)


def test_a_long_halt_does():
    found = find_standing(made([(0, 3.0), (1.5, 1.0), (0, 0.8), (-1.5, 1.0), (0, 2.0)]))
    assert len(found.movements) == 2


def test_a_twitch_is_no_movement():
    found = find_standing(made([(0, 3.0), (1.5, 0.3), (0, 1.0), (1.5, 1.5), (0, 1.0)]))
    np.testing.assert_allclose(spans_s(found)[1:], [(4.3, 5.8)], atol=0.12)


def test_the_first_standing_counts_and_movements_before_it_are_kept():
    found = find_standing(made([(1.5, 2.0), (0, 2.5), (1.5, 2.0), (0, 3.0)]))
    np.testing.assert_allclose(spans_s(found), [(2.15, 4.35), (0.0, 2.0), (4.5, 6.5)], atol=0.12)


def test_standing_alone_will_do():
    found = find_standing(made([(0, 3.0)]))
    assert found.movements == ()
    np.testing.assert_allclose(spans_s(found), [(0.15, 2.85)], atol=0.02)


def test_a_hole_in_the_log_is_not_standing():
    found = find_standing(made([(0, 5.0), (1.5, 2.0), (0, 1.0)], hole_s=(1.0, 1.7)))
    standing, *_ = spans_s(found)
    assert standing[0] > 1.7


def test_who_never_stands_is_named():
    with pytest.raises(
        SignalQualityError, match=r"right_thigh: nobody stands quietly for 1.5 s .* record it again"
    ):
        find_standing(made([(0, 1.0), (1.5, 6.0)], place="right_thigh"))


def test_how_long_a_standing_must_be_is_a_setting():
    recording = made([(0, 1.0), (1.5, 6.0)])
    found = find_standing(recording, StandingSettings(shortest_standing_s=0.8))
    np.testing.assert_allclose(spans_s(found)[0], (0.15, 0.85), atol=0.12)
