"""Strapdown between two stances."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imustride.orientation import Rest
from imustride.orientation.closing import closing_tilt
from imustride.orientation.slow_gravity import WINDOW_S, applies
from imustride.orientation.strapdown import estimate


def found(motion):
    return estimate(motion.gyro, motion.force, motion.rate_hz, motion.rest)


def open_end(motion):
    return replace(motion, rest=Rest(motion.rest.before))


def heading_rad(attitude, true):
    """Heading of the error, which is arbitrary but must be constant."""
    delta = attitude @ np.swapaxes(true, 1, 2)
    return np.arctan2(delta[:, 1, 0] - delta[:, 0, 1], delta[:, 0, 0] + delta[:, 1, 1])


@pytest.mark.parametrize("ends", ["both stances", "one stance"])
def test_attitude_is_right_at_the_instants_of_the_samples(swing, worst_inclination_deg, ends):
    motion = swing(200.0) if ends == "both stances" else open_end(swing(200.0))
    attitude = found(motion)
    assert worst_inclination_deg(attitude, motion.truth) < 1e-3
    assert np.ptp(heading_rad(attitude, motion.truth)) < np.deg2rad(1e-3)
    assert np.linalg.det(attitude) == pytest.approx(1)
    assert attitude @ np.swapaxes(attitude, 1, 2) == pytest.approx(np.tile(np.eye(3), (len(attitude), 1, 1)))


def test_a_constant_bias_is_removed(swing, worst_inclination_deg):
    motion = swing(200.0)
    biased = replace(motion, gyro=motion.gyro + np.deg2rad([1.0, -2.0, 0.5]))
    assert worst_inclination_deg(found(biased), motion.truth) < 1e-3
    assert worst_inclination_deg(found(open_end(biased)), motion.truth) < 1e-3


def test_a_bias_that_grows_in_time_is_held_between_two_stances(swing, worst_inclination_deg):
    motion = swing(200.0)
    growth = np.deg2rad(0.02) * np.arange(len(motion.gyro)) / motion.rate_hz  # 0.24 deg/s at the end
    drifting = replace(motion, gyro=motion.gyro + growth[:, None] * [1.0, 1.0, 0.0])
    assert worst_inclination_deg(found(open_end(drifting)), motion.truth) > 1.0
    # The stances are trusted to differ by some 0.04 deg/s; what that leaves is tilt, and closed in time.
    assert worst_inclination_deg(found(drifting), motion.truth) < 0.3


def test_sway_is_not_taken_for_bias(swing, worst_inclination_deg):
    """Leaning over by half a degree during the stance is a turn of 0.17 deg/s that gravity confirms."""
    motion = swing(200.0)
    stance = motion.rest.before
    lean = np.deg2rad(0.5) * np.linspace(0, 1, stance.stop)
    rest_of_it = np.full(len(motion.gyro) - stance.stop, lean[-1])
    leaning = Rotation.from_rotvec(np.concatenate([lean, rest_of_it])[:, None] * [1.0, 0.0, 0.0]).as_matrix()
    truth = leaning @ motion.truth  # about the earth's x axis
    rate = np.gradient(np.concatenate([lean, rest_of_it])) * motion.rate_hz
    gyro = motion.gyro + np.einsum("nji,nj->ni", truth, rate[:, None] * [1.0, 0.0, 0.0])
    force = np.einsum("nji,j->ni", truth, [0, 0, 9.81])
    swayed = replace(motion, gyro=gyro, force=force, truth=truth, rest=Rest(stance))
    assert worst_inclination_deg(found(swayed), truth) < 0.02


def test_a_scale_error_is_given_back_at_the_stop(swing, worst_inclination_deg):
    motion = swing(200.0)
    skewed = replace(motion, gyro=motion.gyro * [1.01, 0.99, 1.0])
    open_deg = worst_inclination_deg(found(open_end(skewed))[-1:], motion.truth[-1:])
    closed_deg = worst_inclination_deg(found(skewed)[-1:], motion.truth[-1:])
    assert open_deg > 0.05
    assert closed_deg < 0.2 * open_deg


def test_an_accelerometer_bias_seen_from_another_heading_is_not_taken_for_drift():
    """After a stop with the feet across, the bias shows from the side: half of it must not be believed."""
    rate_hz, still = 100.0, np.tile([1.0, 0, 0, 0], (300, 1))
    across = np.tile([np.sqrt(0.5), 0, 0, np.sqrt(0.5)], (300, 1))
    quaternion = np.vstack([still, np.tile(still[:1], (600, 1)), across])
    before, after = slice(0, 300), slice(900, 1200)
    force = np.tile([0.0, 0.3, 9.81], (1200, 1))  # 30 mg that levelling has not removed
    tilt = closing_tilt(quaternion, force, rate_hz, Rest(before), after).half_sine[-1]
    same_way = closing_tilt(np.tile(still, (4, 1)), force, rate_hz, Rest(before), after).half_sine[-1]
    assert np.linalg.norm(same_way) == pytest.approx(0.15 / 9.81, rel=0.1)
    assert np.linalg.norm(tilt) < 0.25 * np.linalg.norm(same_way)


def long_straight(minutes, drift_deg_s, rate_hz=50.0):
    """Stand, glide for minutes with a gyroscope whose bias goes off after the stance, stand."""
    count = int((minutes * 60 + 20) * rate_hz)
    rest = Rest(slice(0, int(10 * rate_hz)), slice(count - int(10 * rate_hz), count))
    gyro = np.zeros((count, 3))
    gyro[rest.before.stop : rest.after.start] = np.deg2rad(drift_deg_s) * np.array([1.0, -1.0, 0.0])
    force = np.tile([0.0, 0.0, 9.81], (count, 1))
    return gyro, force, rate_hz, rest


def test_drift_of_minutes_is_bounded_by_the_mean_force(worst_inclination_deg):
    gyro, force, rate_hz, rest = long_straight(5, 0.05)  # 21 degrees if nothing were done
    true = np.tile(np.eye(3), (len(gyro), 1, 1))
    assert worst_inclination_deg(estimate(gyro, force, rate_hz, rest), true) < 1.0
    assert worst_inclination_deg(estimate(gyro, force, rate_hz, Rest(rest.before)), true) < 3.0


def test_a_bend_on_every_lap_does_not_tilt_the_vertical(worst_inclination_deg):
    """Twenty seconds a lap at 7 m/s: 2.2 m/s^2 inward, always from the same side of the sensor: 12.6 degrees of lean."""
    rate_hz, lap_s = 50.0, 20.0
    gyro, force, _, rest = long_straight(4, 0.0, rate_hz)
    moving = slice(rest.before.stop, rest.after.start)
    turn = 2 * np.pi / lap_s
    gyro[moving, 2] = turn
    force[moving, 1] = turn * 7.0
    heading = np.cumsum(gyro[:, 2]) / rate_hz
    true = Rotation.from_rotvec(heading[:, None] * [0, 0, 1]).as_matrix()
    assert worst_inclination_deg(estimate(gyro, force, rate_hz, rest), true) < 0.4


def test_the_mean_force_is_asked_only_where_the_feet_move_long_enough():
    rest = Rest(slice(0, 100), slice(1000, 1100))
    assert not applies(1100, 100.0, rest)
    assert applies(1100, 900 / WINDOW_S, rest)
    assert applies(int(100 + 100 * WINDOW_S), 100.0, Rest(slice(0, 100)))


def with_a_gap(motion, gap):
    """Bridge the gap in both signals by a straight line, and say so."""
    gyro, force = motion.gyro.copy(), motion.force.copy()
    share = np.linspace(0, 1, gap.stop - gap.start + 2)[1:-1, None]
    for signal in (gyro, force):
        signal[gap] = (1 - share) * signal[gap.start - 1] + share * signal[gap.stop]
    guessed = np.zeros(len(gyro), dtype=bool)
    guessed[gap] = True
    return replace(motion, gyro=gyro, force=force, rest=replace(motion.rest, guessed=guessed))


def test_a_tilt_lost_in_a_gap_is_put_back_there(swing, worst_inclination_deg):
    motion = swing(200.0)
    gap = slice(1000, 1016)  # 80 ms in a motion of up to 20 rad/s
    gapped = with_a_gap(motion, gap)
    away = np.ones(len(motion.gyro), dtype=bool)
    away[gap] = False
    told = worst_inclination_deg(found(gapped)[away], motion.truth[away])
    untold = replace(gapped, rest=replace(motion.rest, guessed=None))
    assert worst_inclination_deg(found(untold)[away], motion.truth[away]) > 3
    assert told < 0.15


def test_gaps_in_and_before_the_stances_change_nothing(swing):
    motion = swing(100.0)
    guessed = np.zeros(len(motion.gyro), dtype=bool)
    guessed[: motion.rest.before.stop] = True
    guessed[motion.rest.after.start :] = True
    told = replace(motion, rest=replace(motion.rest, guessed=guessed))
    assert np.array_equal(found(told), found(motion))
