"""Alignment of a made run (`tests.hand_built`), its attitude given: only the mounting is to be found."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imustride.alignment.blade import align
from imustride.kinematics import Cut
from imustride.loaders.sampling import regularise
from tests.hand_built import Skate, skate_log

RATE_HZ = 200.0
CUT = Cut((3.0, 6.2), (6.25, 15.2))
ABOUT_Z = {turn: Rotation.from_euler("z", turn, degrees=True).as_matrix() for turn in (0, 12, 40, 180)}


def recorded(segment_from_sensor, side="left", heading_deg=40, seed=0, **more):
    """A recording and its attitude earth_from_sensor, of any heading."""
    log = skate_log(side, RATE_HZ, segment_from_sensor, seed=seed, gyro_bias_deg_s=0.0, **more)
    recording = regularise(log)
    turn = Rotation.from_euler("z", heading_deg, degrees=True).as_matrix()
    return recording, turn @ Skate(side).attitude(recording.time_s) @ segment_from_sensor


def error_deg(alignment, segment_from_sensor):
    return float(
        np.degrees(Rotation.from_matrix(alignment.segment_from_sensor @ segment_from_sensor.T).magnitude())
    )


def tilt_deg(alignment, recording, from_s, to_s, side="left"):
    """Largest error of the vertical seen from the skate in a span."""
    inside = (recording.time_s > from_s) & (recording.time_s < to_s)
    up = Skate(side).attitude(recording.time_s[inside])[:, 2, :]
    cosine = (up * alignment.earth_from_segment[inside, 2, :]).sum(axis=1)
    return float(np.degrees(np.arccos(np.clip(cosine, -1, 1))).max())


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("seed", range(4))
def test_any_mounting_is_found(side, seed):
    mount = Rotation.random(random_state=seed).as_matrix()
    found = align(*recorded(mount, side, 70 * seed, seed), CUT)
    assert error_deg(found, mount) < 2.0


@pytest.mark.parametrize("turn", [0, 180])
def test_forwards_and_backwards_are_told_apart(turn):
    found = align(*recorded(ABOUT_Z[turn]), CUT)
    assert error_deg(found, ABOUT_Z[turn]) < 2.0


def test_a_sensor_upside_down_is_found():
    mount = Rotation.from_euler("x", 180, degrees=True).as_matrix()
    assert error_deg(align(*recorded(mount), CUT), mount) < 2.0


def test_the_earth_frame_is_level_and_points_where_the_blade_did():
    mount = Rotation.random(random_state=7).as_matrix()
    recording, attitude = recorded(mount)
    found = align(recording, attitude, CUT)
    # Earth x is the skate's own heading in the stance, whatever heading was handed in.
    stance = (recording.time_s > 4.0) & (recording.time_s < 6.0)
    np.testing.assert_allclose(found.earth_from_segment[stance].mean(axis=0), np.eye(3), atol=0.01)
    assert tilt_deg(found, recording, 6.5, 11.5) < 1.0


def test_the_velocity_is_zero_before_the_motion_and_along_the_blade_on_the_ice():
    recording, attitude = recorded(Rotation.random(random_state=8).as_matrix())
    found = align(recording, attitude, CUT)
    time_s, skate = recording.time_s, Skate("left")
    np.testing.assert_allclose(found.velocity_m_s[time_s < 6.0], 0.0, atol=1e-9)
    gliding = skate.touching(time_s) & (time_s > 7.4) & (time_s < 12.0)
    true = skate.path(time_s[gliding], nu=1)
    np.testing.assert_allclose(
        np.hypot(*found.velocity_m_s[gliding, :2].T), np.hypot(*true.T), rtol=0, atol=1.0
    )
    across = np.einsum("ni,ni->n", found.velocity_m_s[gliding], found.earth_from_segment[gliding, :, 1])
    assert np.median(np.abs(across)) < 0.15
    assert found.known_until_s == pytest.approx(15.2, abs=0.02)


def test_what_the_fit_turns_back_stays_a_rotation():
    # The attitude handed in drifts by half a degree a second: some four degrees are turned back until the end of the fit. To
    # first order only, the axes would grow by half of 0.07 rad squared, 0.002.
    mount = Rotation.random(random_state=9).as_matrix()
    recording, attitude = recorded(mount)
    since_s = np.maximum(recording.time_s - CUT.motion_s[0], 0.0)
    drift = Rotation.from_rotvec(np.radians(0.5) * since_s[:, None] * [0.6, 0.8, 0.0]).as_matrix()
    found = align(recording, drift @ attitude, CUT)
    up = (found.earth_from_segment[-1] @ found.segment_from_sensor)[2]
    assert np.degrees(np.arccos(up @ (drift @ attitude)[-1, 2])) > 2.0
    for axes in (found.segment_from_sensor, found.earth_from_segment):
        np.testing.assert_allclose(
            axes @ np.swapaxes(axes, -1, -2), np.broadcast_to(np.eye(3), axes.shape), atol=1e-12
        )


def test_declared_axes_are_only_nominal():
    # The sensor's x is declared forward and points 12 degrees aside.
    found = align(*recorded(ABOUT_Z[12], axes=("+x", "+y", "+z")), CUT)
    assert error_deg(found, ABOUT_Z[12]) < 2.0


def test_the_stated_spread_covers_the_error_and_shrinks_with_more_pushes():
    mounts = [Rotation.random(random_state=seed).as_matrix() for seed in range(5)]
    made = [recorded(mount, seed=seed) for seed, mount in enumerate(mounts)]
    spread = {}
    for end_s in (8.5, 15.2):
        found = [align(*one, Cut(CUT.stance_s, (CUT.motion_s[0], end_s))) for one in made]
        spread[end_s] = np.degrees([one.forward_sd_rad for one in found])
        errors = [error_deg(one, mount) for one, mount in zip(found, mounts, strict=True)]
        assert (np.array(errors) < 2.5 * spread[end_s]).all()
    assert spread[8.5].min() > 1.3 * spread[15.2].max()
    assert spread[15.2].max() < 3.0


def test_a_turn_lost_in_a_gap_is_found_again():
    mount = Rotation.random(random_state=2).as_matrix()
    recording, attitude = recorded(mount)
    lost = (recording.time_s > 8.55) & (recording.time_s < 8.70)
    before, after = np.flatnonzero(lost)[[0, -1]] + [-1, 1]
    share = np.linspace(0, 1, lost.sum())[:, None]

    def bridged(values):
        out = values.copy()
        out[lost] = (1 - share) * values[before] + share * values[after]
        return out

    holed = replace(
        recording,
        acceleration_m_s2=bridged(recording.acceleration_m_s2),
        angular_velocity_rad_s=bridged(recording.angular_velocity_rad_s),
        measured=~lost,
    )
    turned = attitude.copy()
    turned[after:] = Rotation.from_rotvec(np.radians([6, -5, 4])).as_matrix() @ attitude[after:]
    found = align(holed, turned, CUT)
    assert error_deg(found, mount) < 2.0
    # 7.8 degrees of tilt were lost: less than a fifth of it may be left.
    assert tilt_deg(found, recording, 8.8, 11.5) < 1.5
    unaware = align(recording, turned, CUT)
    assert tilt_deg(unaware, recording, 8.8, 11.5) > 5.0


def test_a_gap_that_hid_nothing_costs_nothing():
    mount = Rotation.random(random_state=3).as_matrix()
    recording, attitude = recorded(mount)
    holed = replace(recording, measured=~((recording.time_s > 9.02) & (recording.time_s < 9.10)))
    found = align(holed, attitude, CUT)
    assert error_deg(found, mount) < 2.0
    assert tilt_deg(found, recording, 6.5, 11.5) < 1.0


def test_declared_axes_decide_where_the_motion_cannot():
    # Cut before the first landing: the skate has tipped, but travelled nowhere.
    short = Cut((3.0, 6.2), (6.25, 6.9))
    mount = ABOUT_Z[40]
    recording, attitude = recorded(mount, axes=("+x", "+y", "+z"))
    found = align(recording, attitude, short)
    assert error_deg(found, np.eye(3)) < 6.0
    assert np.degrees(found.forward_sd_rad) > 5.0
