"""What each unknown of a skate does to slip, running direction and path, against motions changed in just that.

The motions are formulas, the changes are those of a drawing: a blade turned in its holder, a sensor mounted higher, a
blade that stood on its edge in the stance, samples lost. The sensor rides in the middle of the blade where nothing else
is said, and every blade is upright in the stance. `test_trajectory_strapdown.py` has the path and the constant biases.
"""

from dataclasses import replace

import numpy as np
import pytest

from imustride.trajectory.settings import TrackSettings
from imustride.trajectory.skate import GYRO, HEIGHT, LEVER, MOUNT, ROCKER, ROLL
from tests.reference.test_trajectory_strapdown import (
    CONTACT_M,
    GRAVITY_M_S2,
    RADIUS_M,
    SPEED_M_S,
    TURN_END_S,
    Motion,
    about,
    eased,
    on_a_circle,
    reckoned,
    sample_times,
)

GLIDE_S, TILTED_S = 3.0, 0.5


def tilting(t, heading, turn, edge_rad, nose_down_rad):
    """Attitude and rate of a blade that turns and, within half a second, goes onto an edge (left side up) and nose down."""
    w = np.pi / TILTED_S
    inside = np.clip(t, 0.0, TILTED_S)
    share, hurry = (1 - np.cos(w * inside)) / 2, w / 2 * np.sin(w * inside)
    down, lean = about(1, nose_down_rad * share), about(0, edge_rad * share)
    zero = np.zeros(len(t))
    rate = np.einsum("nji,nj->ni", down, np.column_stack([zero, zero, turn]))
    rate = np.einsum("nji,nj->ni", lean, rate + np.outer(nose_down_rad * hurry, [0.0, 1.0, 0.0]))
    return about(2, heading) @ down @ lean, rate + np.outer(edge_rad * hurry, [1.0, 0.0, 0.0])


def held(edge_deg, nose_up_deg=0.0):
    """A blade held that speeds up to 6 m/s along x and is dragged sideways at 2 m/s."""
    t = sample_times(GLIDE_S)
    attitude, rate = tilting(t, 0 * t, 0 * t, np.radians(edge_deg), -np.radians(nose_up_deg))
    push = eased(t, 2.0, 1.0)[2]
    return Motion(attitude, rate, np.outer(push, [6.0, 2.0, 0.0]), (0.0, 0.0, 0.0))


def turning(edge_deg=0.0, nose_down_rad=0.0):
    """The turn of 12 m, its middle 6 cm behind the point that runs on the circle."""
    t = sample_times(TURN_END_S)
    heading, turn, change = on_a_circle(t)
    attitude, rate = tilting(t, heading, turn, np.radians(edge_deg), nose_down_rad)
    forward = RADIUS_M * change + CONTACT_M * turn**2
    inward = RADIUS_M * turn**2 - CONTACT_M * change
    acceleration = (
        forward[:, None] * np.column_stack([np.cos(heading), np.sin(heading), 0 * t])
        + inward[:, None] * np.column_stack([-np.sin(heading), np.cos(heading), 0 * t])
    )  # fmt: skip
    return Motion(attitude, rate, acceleration, (0.0, 0.0, 0.0))


@pytest.mark.parametrize("edge_deg", [0.0, 30.0, 60.0, -60.0])
def test_a_turn_in_the_holder_turns_the_track_the_more_the_flatter_the_blade_lies(edge_deg):
    """Laid level, y = (-m, cos edge, sin edge) of a blade along x points m / cos edge away: twice m at 60 degrees."""
    found = reckoned(held(edge_deg), GLIDE_S)
    tilted = found.time_s > TILTED_S
    np.testing.assert_allclose(found.heading_by[tilted, MOUNT], 1 / np.cos(np.radians(edge_deg)), rtol=1e-9)
    # What lies across turns by m towards -x, along which 6 m/s run.
    assert found.slip_by[-1, MOUNT] == pytest.approx(-6.0, abs=SPEED_M_S)


@pytest.mark.parametrize("edge_deg", [-40.0, 0.0, 40.0])
def test_a_roll_unseen_in_the_stance_shows_in_slip_and_direction(edge_deg):
    """y = (-sin p sin e, cos e, cos p sin e) of a blade p nose up on edge e: laid level it runs at atan(sin p tan e)."""
    up, edge = np.radians(10.0), np.radians(edge_deg)
    found = reckoned(held(edge_deg, 10.0), GLIDE_S)
    by = np.sin(up) / (np.cos(edge) ** 2 + np.sin(up) ** 2 * np.sin(edge) ** 2)
    np.testing.assert_allclose(found.heading_by[found.time_s > TILTED_S, ROLL], by, rtol=1e-9)
    # y goes towards z = (-sin p cos e, -sin e, cos p cos e); 6 m/s run along x and 2 along y.
    slip = -6 * np.sin(up) * np.sin(edge) + 2 * np.cos(edge)
    assert found.slip_m_s[-1] == pytest.approx(slip, abs=SPEED_M_S)
    slip_by = -6 * np.sin(up) * np.cos(edge) - 2 * np.sin(edge)
    assert found.slip_by[-1, ROLL] == pytest.approx(slip_by, abs=SPEED_M_S)


HEADING_RAD = 0.5


def rocking_angle(t):
    """A skate rolls to and fro about itself by 34 degrees: angle and its rate."""
    since = np.maximum(t, 0.0)
    return 0.6 * np.sin(1.5 * since) ** 2, 0.9 * np.sin(3 * since)


def test_a_higher_sensor_means_a_blade_that_swings_further():
    """A sensor stays in place while the skate rolls below it: its middle hangs h sin roll to the left of 0.5 rad."""
    t = sample_times(GLIDE_S)
    angle, rate = rocking_angle(t)
    attitude = about(2, np.full(len(t), HEADING_RAD)) @ about(0, angle)
    still = np.zeros((len(t), 3))
    found = reckoned(Motion(attitude, np.column_stack([rate, 0 * t, 0 * t]), still, (0.0, 0.0, 0.1)), GLIDE_S)
    left = np.sin(rocking_angle(found.time_s)[0])[:, None] * [-np.sin(HEADING_RAD), np.cos(HEADING_RAD)]
    assert left[:, 1].max() > 0.4
    np.testing.assert_allclose(found.position_m, 0.1 * left, atol=3e-4)
    # The mean rate of ten samples is that of half a sample before the node: 1 ms of 0.9 rad/s; with the trapezoid, which
    # loses (3 rad/s * 0.02 s)^2 / 12 of 0.56, about 1.1e-3.
    np.testing.assert_allclose(found.position_by[:, :, HEIGHT], left, atol=1.2e-3)


NOSE_DOWN_RAD = 0.02


def test_a_rocker_touches_ahead_where_the_blade_points_down():
    """With 3 m of radius 6 cm ahead of its middle: there nothing slips."""
    radius_m = CONTACT_M / NOSE_DOWN_RAD
    found = reckoned(turning(nose_down_rad=NOSE_DOWN_RAD), TURN_END_S, rocker_radius_m=radius_m)
    tilted = found.time_s > TILTED_S
    assert np.abs(found.slip_m_s[tilted]).max() < SPEED_M_S
    # A metre more of radius: 2 cm further ahead, which up to 8 / 12 rad/s carry sideways.
    turn = on_a_circle(found.time_s[tilted])[1]
    np.testing.assert_allclose(found.slip_by[tilted, ROCKER], NOSE_DOWN_RAD * turn, atol=1e-4)
    np.testing.assert_allclose(found.slip_by[tilted, LEVER], turn, atol=SPEED_M_S)


def test_no_blade_touches_beyond_its_end():
    half_m = TrackSettings().half_blade_m
    found = reckoned(turning(nose_down_rad=NOSE_DOWN_RAD), TURN_END_S, rocker_radius_m=9.0)  # 18 cm ahead
    assert found.slip_m_s[-1] == pytest.approx((half_m - CONTACT_M) * 8 / RADIUS_M, abs=SPEED_M_S)
    assert found.slip_by[-1, ROCKER] == 0.0


def direction(attitude, times):
    """Where a blade runs: what lies across it, laid level, a quarter turn on."""
    across = attitude[:, :2, 1]
    return np.interp(times, sample_times(TURN_END_S), np.unwrap(np.arctan2(-across[:, 0], across[:, 1])))


def nudged(attitude, small):
    """Attitude turned by small rotations of the earth frame, shape (n, 3)."""
    return attitude + np.cross(small[:, :, None], attitude, axisa=1, axisb=1, axisc=1)


@pytest.mark.parametrize("axis", range(3))
def test_what_a_gyroscope_bias_does_to_slip_and_direction(axis):
    """On a straight blade: what a wrong pitch does to the contact of a rocker lies within what is allowed to a slip."""
    motion, bias, straight = turning(edge_deg=50.0), 3e-4 * np.eye(3)[axis], {"rocker_radius_m": 1e-6}
    right = reckoned(motion, TURN_END_S, **straight)
    since = np.maximum(sample_times(TURN_END_S) + 0.1, 0.0)
    step = np.gradient(since)[:, None] * (motion.attitude @ bias)
    wrong = nudged(motion.attitude, np.cumsum(step, axis=0) - 0.5 * step)
    found = reckoned(motion, TURN_END_S, earth_from_segment=wrong, **straight)
    gone = found.slip_m_s - right.slip_m_s
    assert np.abs(gone).max() > 0.003
    assert np.abs(gone + found.slip_by[:, GYRO] @ bias).max() < 0.02 * np.abs(gone).max()
    astray = direction(wrong, found.time_s) - direction(motion.attitude, found.time_s)
    assert np.abs(astray).max() > 3e-4
    assert np.abs(astray + found.heading_by[:, GYRO] @ bias).max() < 0.02 * np.abs(astray).max()


LOST = slice(1500, 1520)  # 40 ms, a second after the start
UNSEEN_M_S2, UNSEEN_RAD = np.array([40.0, -25.0, 0.0]), np.radians([0.3, 0.4, -0.2])


@pytest.mark.parametrize("turns", [False, True])
def test_a_jump_behind_lost_samples_is_its_own_unknown(turns):
    """An accelerometer at the end of its range did not show up to 40 m/s^2, and a gyroscope missed half a degree."""
    motion = turning(edge_deg=50.0)
    right = reckoned(motion, TURN_END_S)
    clipped = np.zeros((len(motion.rate), 2), bool)
    clipped[LOST] = [True, turns]
    acceleration, missed = motion.acceleration.copy(), np.zeros(motion.acceleration.shape)
    acceleration[LOST] -= UNSEEN_M_S2
    missed[LOST.stop :] = UNSEEN_RAD if turns else 0.0
    wrong = nudged(motion.attitude, missed)
    upward = [0.0, 0.0, GRAVITY_M_S2]
    lossy = replace(motion, acceleration=acceleration)
    found = reckoned(
        lossy,
        TURN_END_S,
        earth_from_segment=wrong,
        clipped=clipped,
        acceleration_m_s2=np.einsum("nji,nj->ni", motion.attitude, acceleration + upward),
    )
    # Two velocities, then three turns if turns were lost: nothing else.
    own = slice(found.wander.stop, len(found.spread))
    assert own.stop - own.start == (5 if turns else 2)
    lost_s = sample_times(TURN_END_S)[[LOST.start, LOST.stop]]
    before, behind = found.time_s < lost_s[0], found.time_s > lost_s[1] + 0.02
    assert np.abs(found.velocity_by[before][:, :, own]).max() == 0.0
    jump = np.append(UNSEEN_M_S2[:2] * 0.04, -UNSEEN_RAD if turns else [])
    gone = found.velocity_m_s + found.velocity_by[:, :, own] @ jump - right.velocity_m_s
    # The first node behind the loss comes up to 20 ms late; what 5 m/s^2 and gravity turned by 0.01 rad do meanwhile.
    assert np.abs(found.velocity_m_s - right.velocity_m_s)[behind].max() > 1.0
    assert np.abs(gone[behind]).max() < 0.01
    astray = direction(wrong, found.time_s) - direction(motion.attitude, found.time_s)
    np.testing.assert_allclose((astray + found.heading_by[:, own] @ jump)[behind], 0.0, atol=2e-4)
