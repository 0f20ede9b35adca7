"""Dead reckoning of a skate against motions whose path is known in closed form.

Each motion is written down as a formula; what the sensor must feel follows from it by differentiation on paper:
specific force = acceleration of the sensor's place + gravity upwards, in the axes of the segment. The stance before it
is level. Nodes are 20 ms apart: the trapezoid rule is off by 20 ms squared / 12 times the change of the acceleration
(33 um for 1 m/s^2), the tolerance of places is ten times that.
"""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.special import ellipj, ellipk

from imustride.kinematics import Clock, Cut, Kinematics
from imustride.trajectory.settings import TrackSettings
from imustride.trajectory.skate import ACCELEROMETER, GYRO, LEVER, MOUNT, YAW, course

RATE_HZ, REST_S, GRAVITY_M_S2 = 500.0, 2.0, 9.81
UPWARD_M_S2 = np.array([0.0, 0.0, GRAVITY_M_S2])
PLACE_M, SPEED_M_S = 3e-4, 1e-3


@dataclass(frozen=True, eq=False)
class Motion:
    """What a skate did, by the sample: attitude (n, 3, 3), rate (n, 3, segment axes), acceleration of the sensor (n, 3)."""

    attitude: np.ndarray
    rate: np.ndarray
    acceleration: np.ndarray
    lever_m: tuple[float, float, float]


def about(axis, angle):
    """Turns about an axis of the earth by angles, shape (n, 3, 3)."""
    one, two = (axis + 1) % 3, (axis + 2) % 3
    out = np.zeros((len(angle), 3, 3))
    out[:, axis, axis] = 1.0
    out[:, one, one] = out[:, two, two] = np.cos(angle)
    out[:, two, one] = np.sin(angle)
    out[:, one, two] = -out[:, two, one]
    return out


def sample_times(end_s):
    """Half a sample beside zero: what begins at zero then has its right area under the trapezoid rule."""
    return (np.arange(-REST_S * RATE_HZ, end_s * RATE_HZ) + 0.5) / RATE_HZ


def kinematics(motion, end_s, **changes):
    force = np.einsum("nji,nj->ni", motion.attitude, motion.acceleration + UPWARD_M_S2)
    values = {
        "acceleration_m_s2": force,
        "angular_velocity_rad_s": motion.rate,
        "earth_from_segment": motion.attitude,
        "clipped": np.zeros((len(force), 2), bool),
        "velocity_m_s": np.zeros((len(force), 3)),
    }
    count = len(force)
    return Kinematics(
        side="left",
        start_s=float(sample_times(end_s)[0]),
        rate_hz=RATE_HZ,
        measured=np.ones(count, bool),
        cut=Cut((-REST_S, -0.1), (0.0, end_s)),
        position_m=motion.lever_m,
        **(values | changes),
    )


def reckoned(motion, end_s, yaw=0.0, **changes):
    found = kinematics(motion, end_s, **changes)
    return course(found, Clock(), (-0.1, end_s), yaw, (0.0, 0.0), TrackSettings())


def eased(t, duration, top):
    """Distance, speed and acceleration of a start that ends at speed `top`: (1 - cos) / 2 of a rising speed."""
    inside = np.clip(t, 0, duration)
    w = np.pi / duration
    way = top / 2 * (inside - np.sin(w * inside) / w) + top * np.maximum(t - duration, 0)
    return way, top / 2 * (1 - np.cos(w * inside)), top / 2 * w * np.sin(w * inside) * (t < duration)


RADIUS_M, TURN_END_S, CONTACT_M = 12.0, 5.0, 0.06


def on_a_circle(t):
    """Contact point on a circle, blade along it: heading, its rate and its rate's rate."""
    way, speed, push = eased(t, 2.0, 8.0)
    return way / RADIUS_M, speed / RADIUS_M, push / RADIUS_M


def constant_turn():
    """A blade that glides on a circle at 8 m/s; its middle rides 6 cm behind the contact point."""
    t = sample_times(TURN_END_S)
    heading, turn, change = on_a_circle(t)
    attitude = about(2, heading)
    lever = (0.03, 0.05, 0.11)
    along, across = attitude[:, :, 0], attitude[:, :, 1]
    # Contact point: R (sin, 1 - cos). The sensor lies (a, b) from it in the blade's axes, turning with it.
    a, b = lever[0] - CONTACT_M, lever[1]
    forward = RADIUS_M * change - b * change - a * turn**2
    inward = RADIUS_M * turn**2 + a * change - b * turn**2
    acceleration = forward[:, None] * along + inward[:, None] * across
    return Motion(attitude, np.column_stack([0 * t, 0 * t, turn]), acceleration, lever)


def turn_truth(found):
    """Place and velocity of the middle of the blade, counted from its place in the stance."""
    heading, turn, _ = on_a_circle(found.time_s)
    sine, cosine = np.sin(heading), np.cos(heading)
    place = np.column_stack(
        [RADIUS_M * sine - CONTACT_M * (cosine - 1), RADIUS_M * (1 - cosine) - CONTACT_M * sine]
    )
    speed = np.column_stack([RADIUS_M * cosine + CONTACT_M * sine, RADIUS_M * sine - CONTACT_M * cosine])
    return place, speed * turn[:, None]


def test_constant_turn():
    found = reckoned(constant_turn(), TURN_END_S)
    place, velocity = turn_truth(found)
    assert np.ptp(found.time_s) > 5.0
    np.testing.assert_allclose(found.position_m, place, atol=PLACE_M)
    np.testing.assert_allclose(found.velocity_m_s, velocity, atol=SPEED_M_S)


def test_constant_turn_seen_from_a_lane_that_lies_askew():
    found = reckoned(constant_turn(), TURN_END_S, yaw=0.4)
    place, _ = turn_truth(found)
    c, s = np.cos(0.4), np.sin(0.4)
    np.testing.assert_allclose(found.position_m, place @ np.array([[c, s], [-s, c]]), atol=PLACE_M)


def test_the_contact_point_of_a_turning_blade_does_not_slip():
    found = reckoned(constant_turn(), TURN_END_S)
    # The middle is dragged sideways by 6 cm times 8 / 12 rad/s = 4 cm/s; at the true contact point nothing is left.
    assert np.abs(found.slip_m_s).max() == pytest.approx(0.04, abs=SPEED_M_S)
    assert np.abs(found.slip_m_s + CONTACT_M * found.slip_by[:, LEVER]).max() < SPEED_M_S


def test_a_sensor_turned_on_the_blade_is_one_unknown_of_the_slip():
    # Blade axes read 0.02 rad counter-clockwise of the true ones: a false slip of 0.02 times the speed.
    motion, wrong = constant_turn(), 0.02
    turn = about(2, np.full(len(motion.rate), wrong))
    lever = tuple(turn[0].T @ motion.lever_m)
    found = reckoned(Motion(motion.attitude @ turn, motion.rate, motion.acceleration, lever), TURN_END_S)
    assert np.abs(found.slip_m_s).max() > 0.1
    true = found.slip_m_s - wrong * found.slip_by[:, MOUNT] + CONTACT_M * found.slip_by[:, LEVER]
    # Left over: the square of the angle, 8 m/s * 0.02^2 / 2 = 1.6 mm/s, and the contact off by 6 cm * 0.02.
    assert np.abs(true).max() < 2.5e-3


LENGTH_M, SENSOR_M, RELEASE_RAD = 1.2, 0.9, np.deg2rad(70)
FREQUENCY_RAD_S = np.sqrt(GRAVITY_M_S2 / LENGTH_M)
PERIOD_S = 4 * ellipk(np.sin(RELEASE_RAD / 2) ** 2) / FREQUENCY_RAD_S


def swing(t):
    """Angle of a free pendulum let go at rest, and its rate: sin(angle / 2) = k cd(w t), by elliptic functions."""
    k2 = np.sin(RELEASE_RAD / 2) ** 2
    sn, cn, _, _ = ellipj(ellipk(k2) - FREQUENCY_RAD_S * np.maximum(t, 0.0), k2)
    return 2 * np.arcsin(np.sqrt(k2) * sn), -2 * np.sqrt(k2) * FREQUENCY_RAD_S * cn


def pendulum():
    """A free pendulum of 70 degrees; axes are level where it is held, the sensor sits 30 cm up the rod."""
    t = sample_times(2 * PERIOD_S)
    angle, rate = swing(t)
    rate = np.where(t > 0, rate, 0.0)
    outward = np.column_stack([np.sin(angle), 0 * t, -np.cos(angle)])
    onward = np.column_stack([np.cos(angle), 0 * t, np.sin(angle)])
    swung = -GRAVITY_M_S2 / LENGTH_M * np.sin(angle) * (t > 0)
    acceleration = SENSOR_M * (swung[:, None] * onward - (rate**2)[:, None] * outward)
    lever = (SENSOR_M - LENGTH_M) * np.array([np.sin(RELEASE_RAD), 0.0, -np.cos(RELEASE_RAD)])
    # Swinging towards +x turns about -y.
    return Motion(
        about(1, RELEASE_RAD - angle), np.column_stack([0 * t, -rate, 0 * t]), acceleration, tuple(lever)
    )


def test_pendulum():
    found = reckoned(pendulum(), 2 * PERIOD_S)
    angle, rate = swing(found.time_s)
    rate = np.where(found.time_s > 0, rate, 0.0)
    place = LENGTH_M * (np.sin(angle) - np.sin(RELEASE_RAD))
    assert np.ptp(place) > 2.2
    # At release the acceleration jumps by 9 m/s^2 within a node, which costs up to a quarter of node squared: 1 mm.
    np.testing.assert_allclose(found.position_m[:, 0], place, atol=1.3e-3)
    np.testing.assert_allclose(found.velocity_m_s[:, 0], LENGTH_M * np.cos(angle) * rate, atol=SPEED_M_S)
    np.testing.assert_allclose(found.position_m[:, 1], 0.0, atol=1e-9)


def test_a_free_pendulum_feels_no_force_along_its_path():
    """What its accelerometer reads at the bob lies along the rod: checks the formulas above, not the program."""
    motion = pendulum()
    bob = motion.acceleration[1500:] * LENGTH_M / SENSOR_M + UPWARD_M_S2
    angle, rate = swing(sample_times(2 * PERIOD_S)[1500:])
    onward = np.column_stack([np.cos(angle), 0 * angle, np.sin(angle)])
    assert np.abs(np.einsum("ni,ni->n", bob, onward)).max() < 1e-9
    # Energy: rate^2 = 2 g / L (cos angle - cos release).
    energy = 2 * GRAVITY_M_S2 / LENGTH_M * (np.cos(angle) - np.cos(RELEASE_RAD))
    np.testing.assert_allclose(rate**2, energy, atol=1e-9)


DISC_M = 0.35


def rolling_disc(end_s):
    """A disc that rolls in a straight line, the sensor in its middle; the point that touched first draws a cycloid."""
    t = sample_times(end_s)
    way, speed, push = eased(t, 1.5, 3.0)
    attitude = about(1, way / DISC_M)
    acceleration = np.column_stack([push, 0 * t, 0 * t])
    return Motion(attitude, np.column_stack([0 * t, speed / DISC_M, 0 * t]), acceleration, (0.0, 0.0, DISC_M))


def test_rolling_disc():
    found = reckoned(rolling_disc(4.0), 4.0)
    way, speed, _ = eased(found.time_s, 1.5, 3.0)
    angle = way / DISC_M
    # Nodes see 8.6 rad/s at 50 Hz: the trapezoid loses (8.6 * 0.02)^2 / 12 = 0.25 % of the 35 cm to and fro.
    cycloid = DISC_M * (angle - np.sin(angle))
    np.testing.assert_allclose(found.position_m[:, 0], cycloid, atol=0.0025 * DISC_M + PLACE_M)
    np.testing.assert_allclose(found.velocity_m_s[:, 0], speed * (1 - np.cos(angle)), atol=SPEED_M_S)
    np.testing.assert_allclose(found.slip_m_s, 0.0, atol=1e-9)


def test_a_rolling_disc_stands_still_where_it_touches():
    found = reckoned(rolling_disc(4.0), 4.0)
    angle = eased(found.time_s, 1.5, 3.0)[0] / DISC_M
    touching = np.abs(np.angle(np.exp(1j * angle))) < 0.05
    assert touching.sum() > 5
    # Speed near the contact: v (1 - cos 0.05) = 4 mm/s.
    assert np.abs(found.velocity_m_s[touching]).max() < 0.004 + SPEED_M_S


@pytest.mark.parametrize("bias", [(3e-4, 0.0, 0.0), (0.0, 3e-4, 0.0), (0.0, 0.0, 3e-4)])
def test_what_a_gyroscope_bias_does_to_the_path(bias):
    """Integrate a wrong attitude, and compare with what the derivatives say of it."""
    motion, right = constant_turn(), reckoned(constant_turn(), TURN_END_S)
    since = sample_times(TURN_END_S) + 0.1
    drift = np.where(since > 0, since, 0.0)
    step = np.gradient(drift)[:, None] * np.einsum("nij,j->ni", motion.attitude, bias)
    turned = np.cumsum(step, axis=0) - 0.5 * step
    wrong = motion.attitude + np.cross(turned[:, :, None], motion.attitude, axisa=1, axisb=1, axisc=1)
    found = reckoned(motion, TURN_END_S, earth_from_segment=wrong)
    put_right = found.position_m + found.position_by[:, :, GYRO] @ np.array(bias)
    gone = np.abs(found.position_m - right.position_m).max()
    assert gone > 0.003
    assert np.abs(put_right - right.position_m).max() < 0.02 * gone


@pytest.mark.parametrize("bias", [(0.005, 0.0, 0.0), (0.0, 0.005, 0.0)])
def test_what_an_accelerometer_bias_does_to_the_path(bias):
    """The bias also tilts what the stance takes for level, in the skate's axes and in the earth's alike."""
    motion, right = constant_turn(), reckoned(constant_turn(), TURN_END_S)
    tilt = np.array([bias[1], -bias[0], 0.0]) / GRAVITY_M_S2
    level = np.eye(3) + np.cross(tilt, np.eye(3), axisb=0, axisc=0)
    force = np.einsum("nji,nj->ni", motion.attitude, motion.acceleration + UPWARD_M_S2) + bias
    found = reckoned(
        Motion(motion.attitude, motion.rate, motion.acceleration, tuple(level @ motion.lever_m)),
        TURN_END_S,
        acceleration_m_s2=force @ level.T,
        angular_velocity_rad_s=motion.rate @ level.T,
        earth_from_segment=level @ motion.attitude @ level.T,
    )
    put_right = found.position_m + found.position_by[:, :, ACCELEROMETER] @ np.array(bias)
    gone = np.abs(found.position_m - right.position_m).max()
    assert gone > 0.02
    assert np.abs(put_right - right.position_m).max() < 0.02 * gone


def test_what_a_turn_of_the_whole_path_does():
    right = reckoned(constant_turn(), TURN_END_S)
    turned = reckoned(constant_turn(), TURN_END_S, yaw=1e-4)
    change = (turned.position_m - right.position_m) / 1e-4
    np.testing.assert_allclose(right.position_by[:, :, YAW], change, atol=2e-3)
    np.testing.assert_allclose(turned.slip_m_s, right.slip_m_s, atol=1e-9)


def test_over_a_gap_the_velocity_that_bridged_it_is_taken():
    """The samples in a gap are no motion: what the alignment found counts for the whole track, turned into the lane."""
    motion = constant_turn()
    measured = np.ones(len(motion.rate), bool)
    measured[1500:1550] = False
    t = sample_times(TURN_END_S)
    bridged = np.column_stack([np.sin(t), 2 * np.cos(t), 0 * t])
    holed = replace(kinematics(motion, TURN_END_S, velocity_m_s=bridged), measured=measured)
    found = course(holed, Clock(), (-0.1, TURN_END_S), np.pi / 2, (0.0, 0.0), TrackSettings())
    turned = np.column_stack([-2 * np.cos(found.time_s), np.sin(found.time_s)])
    np.testing.assert_allclose(found.velocity_m_s, turned, atol=1e-12)
