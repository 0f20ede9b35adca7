"""The arm from the middle of the blade to the point on the ice, from a skate that pivots on it."""

from dataclasses import replace

import numpy as np
import pytest

from imustride.kinematics import Cut, Kinematics
from imustride.segmentation.contact_point import (
    ContactPointSettings,
    expected_arms,
    fit_contact_point,
    sliding,
)

SETTINGS = ContactPointSettings()
RATE_HZ = 250.0
PUSHES = 10
ALL = slice(0, round(PUSHES * RATE_HZ))


def pivoting(toe_m, pushes=PUSHES):
    """A blade that glides at 4 m/s and in every second tips about its toe, which stays on the ice."""
    time_s = np.arange(round(pushes * RATE_HZ)) / RATE_HZ
    phase = time_s % 1.0
    # Heel rise of 25 degrees from 0.3 s on, back in the air from 0.6 s on.
    tip = np.clip((phase - 0.3) / 0.2, 0, 1)
    back = np.clip((phase - 0.6) / 0.3, 0, 1)
    share, rate = tip**2 * (3 - 2 * tip), 6 * tip * (1 - tip) / 0.2
    share, rate = share - back**2 * (3 - 2 * back), rate - 6 * back * (1 - back) / 0.3
    pitch, pitch_rate = np.radians(25.0) * share, np.radians(25.0) * rate
    zero, one = np.zeros_like(pitch), np.ones_like(pitch)
    attitude = np.array([
        [np.cos(pitch), zero, np.sin(pitch)],
        [zero, one, zero],
        [-np.sin(pitch), zero, np.cos(pitch)],
    ]).transpose(2, 0, 1)  # fmt: skip
    turning = np.stack([zero, pitch_rate, zero], axis=1)
    # The toe moves along the ice; the middle is toe_m behind it.
    velocity = np.array([4.0, 0.0, 0.0]) - np.einsum(
        "nij,nj->ni", attitude, np.cross(turning, [toe_m, 0.0, 0.0])
    )
    airborne = phase > 0.55
    velocity[:, 2] += np.where(airborne, 0.8 * np.sin(2 * np.pi * (phase - 0.55) / 0.45), 0.0)
    skate = Kinematics(
        side="left",
        start_s=0.0,
        rate_hz=RATE_HZ,
        acceleration_m_s2=np.tile([0.0, 0.0, 9.81], (len(time_s), 1)),
        angular_velocity_rad_s=turning,
        earth_from_segment=attitude,
        velocity_m_s=velocity,
        measured=np.ones(len(time_s), bool),
        clipped=np.zeros((len(time_s), 2), bool),
        cut=Cut((0.0, 0.1), (0.1, float(pushes))),
    )
    return skate, ~airborne


@pytest.mark.parametrize("toe_m", [0.10, 0.13, 0.17])
def test_the_toe_is_found_where_it_pivots(toe_m):
    skate, on = pivoting(toe_m)
    arms = fit_contact_point(skate, ALL, on, SETTINGS)
    assert arms[0] == pytest.approx(toe_m, abs=0.012)


def test_some_wrong_samples_do_no_harm():
    skate, on = pivoting(0.16)
    wrong = on.copy()
    wrong[np.random.default_rng(3).random(len(on)) < 0.1] ^= True
    arms = fit_contact_point(skate, ALL, wrong, SETTINGS)
    assert arms[0] == pytest.approx(0.16, abs=0.015)


def test_on_the_ice_the_point_neither_rises_nor_slips():
    skate, on = pivoting(0.13)
    found = sliding(skate, ALL, np.array([0.13, -0.13, 0.0, 0.0]), SETTINGS)
    assert np.abs(found.rise_m_s[on]).max() < 0.12
    assert np.abs(found.rise_m_s[~on]).max() > 0.6
    assert np.abs(found.slip_m_s).max() < 0.05
    assert found.known.all()
    # With the toe a hand's breadth off the pivot looks like a rise.
    off = sliding(skate, ALL, np.array([0.05, -0.13, 0.0, 0.0]), SETTINGS)
    assert np.abs(off.rise_m_s[on]).max() > 0.2


def test_without_contacts_the_ordinary_blade_stands():
    skate, on = pivoting(0.13)
    arms = fit_contact_point(skate, ALL, np.zeros_like(on), SETTINGS)
    np.testing.assert_allclose(arms, expected_arms(SETTINGS))


def test_where_the_velocity_drifts_freely_slip_is_not_known():
    skate, _ = pivoting(0.13)
    held = replace(skate, velocity_until_s=5.0)
    found = sliding(held, ALL, expected_arms(SETTINGS), SETTINGS)
    assert found.known.sum() == pytest.approx(5.0 * RATE_HZ, abs=2)
    np.testing.assert_allclose(found.slip_m_s[~found.known], 0.0, atol=0.01)
