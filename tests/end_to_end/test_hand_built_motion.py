"""A run in closed form through the whole analysis: `tests.hand_built` says what must come out.

How near: the spread and bias that the project allows itself on simulated runs with good sensors are 4 and
3 ms for blade-on, 6 and 3 ms for blade-off, 7 and 3 ms for contact time. A single event may be off by the bias
and two and a half spreads.
"""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imustride.pipeline import analyse_logs
from tests.hand_built import Skate, skate_log, swings, true_rows

ON_S, OFF_S, CONTACT_S = (0.003 + 2.5 * spread for spread in (0.004, 0.006, 0.007))
# The right sensor's axes are declared and 8 degrees off: its x points left, its y back, its z up.
ANY_MOUNT = Rotation.from_rotvec([1.2, -0.7, 2.0]).as_matrix()
NEARLY_DECLARED = (
    np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]]) @ Rotation.from_rotvec([0.05, -0.09, 0.1]).as_matrix()
)
DECLARED = ("-y", "+x", "+z")
OFFSET_S, DRIFT = 3.7, 30e-6


@pytest.fixture(scope="module", params=[400.0, 1000.0], ids=lambda rate_hz: f"{rate_hz:g} Hz")
def found(request):
    left = skate_log("left", request.param, ANY_MOUNT, offset_s=100.0, seed=1)
    right = skate_log("right", request.param, NEARLY_DECLARED, OFFSET_S, DRIFT, seed=2, axes=DECLARED)
    return analyse_logs("run-1", {"left_skate": left, "right_skate": right})


def rows(found, side):
    return found.pushes[found.pushes["side"] == side].reset_index(drop=True)


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_made_motion_is_a_blade_on_ice(side):
    """Guard of the made run: rates are those of the attitude, and on the ice the blade moves along itself."""
    skate, time_s, step_s = Skate(side), np.linspace(6.0, 14.0, 4001), 1e-5
    turned = np.einsum("nji,njk->nik", skate.attitude(time_s - step_s), skate.attitude(time_s + step_s))
    seen = np.stack([turned[:, 2, 1], turned[:, 0, 2], turned[:, 1, 0]], axis=1) / (2 * step_s)
    np.testing.assert_allclose(seen, skate.turning(time_s)[0], atol=5e-3)
    velocity, y = skate.path(time_s, nu=1), skate.attitude(time_s)[:, :, 1]
    along = np.stack([y[:, 1], -y[:, 0]], axis=1) / np.hypot(y[:, 0], y[:, 1])[:, None]
    across = velocity[:, 1] * along[:, 0] - velocity[:, 0] * along[:, 1]
    assert np.abs(across[skate.touching(time_s)]).max() < 1e-9


def test_every_push_is_found_and_numbered(found):
    assert rows(found, "left")["push"].tolist() == list(range(1, 8))
    assert rows(found, "right")["push"].tolist() == list(range(7))
    assert found.pushes["flags"].tolist()[:2] == ["standing_start;first_lift", "standing_start"]
    # Every blade lands upright and leans inward from then on.
    assert found.pushes["flags"].tolist()[2:] == ["no_edge_change"] * 12
    assert found.pushes["phase"].tolist() == ["acceleration"] * 7 + ["later"] * 7


@pytest.mark.parametrize("side", ["left", "right"])
def test_events_on_the_clock_of_the_first_sensor(found, side):
    true = true_rows(side)
    for column, near in (("blade_on_s", ON_S), ("blade_off_s", OFF_S)):
        expected = np.array([row[column] for row in true]) + 100.0
        np.testing.assert_allclose(rows(found, side)[column], expected, rtol=0, atol=near, err_msg=column)


@pytest.mark.parametrize("side", ["left", "right"])
def test_durations_of_each_foot(found, side):
    true = true_rows(side)
    for column, near in (("contact_time_s", CONTACT_S), ("swing_time_s", CONTACT_S), ("stride_time_s", ON_S)):
        expected = [row[column] for row in true]
        np.testing.assert_allclose(rows(found, side)[column], expected, rtol=0, atol=near, err_msg=column)


def test_double_support_and_flight_across_the_feet(found):
    # The right foot leaves at 7.28 and the left lands at 7.30: a flight of 0.02 s. After that both are on the
    # ice for 0.01 to 0.06 s.
    for side, other in (("left", "right"), ("right", "left")):
        ons = np.array([on_s for _, on_s, *_ in swings(other)])
        for _, row in rows(found, side)[1:].iterrows():
            blade_off = row["blade_off_s"] - 100.0
            landed = ons[np.argmin(np.abs(ons - blade_off))]
            truth = [true for true in true_rows(side) if abs(true["blade_off_s"] - blade_off) < 0.1]
            expected = truth[0]["blade_off_s"] - landed
            assert row["double_support_s"] == pytest.approx(expected, abs=CONTACT_S)
            assert row["step_time_s"] == pytest.approx(landed - truth[0]["blade_on_s"], abs=2 * ON_S)
    assert rows(found, "left").loc[0, "double_support_s"] == pytest.approx(7.00 - 6.95, abs=CONTACT_S)
    assert np.isnan(rows(found, "right").loc[0, "double_support_s"])


@pytest.mark.parametrize("side", ["left", "right"])
def test_angles_and_rates_have_their_sign_and_size(found, side):
    true = true_rows(side)
    edge = [row["edge_angle_deg"] for row in true]
    np.testing.assert_allclose(rows(found, side)["edge_angle_deg"], edge, rtol=0, atol=0.8)
    rate = [row["push_off_angular_velocity_deg_s"] for row in true]
    np.testing.assert_allclose(rows(found, side)["push_off_angular_velocity_deg_s"], rate, rtol=0.008)


def test_the_clocks_are_joined(found):
    true_s = np.linspace(7.0, 12.0, 11)
    right = found.clocks["right"]
    assert right.joined
    own_s = (true_s + OFFSET_S) * (1 + DRIFT)
    np.testing.assert_allclose(right.reference(own_s), true_s + 100.0, rtol=0, atol=0.002)


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_blade_is_followed_in_attitude_and_speed(found, side):
    made, skate = found.kinematics[side], Skate(side)
    own_s = made.time_s
    true_s = own_s - 100.0 if side == "left" else own_s / (1 + DRIFT) - OFFSET_S
    inside = (true_s > 6.5) & (true_s < 11.5)
    up = skate.attitude(true_s[inside])[:, 2, :]
    tilt = np.arccos(np.clip((up * made.earth_from_segment[inside, 2, :]).sum(axis=1), -1, 1))
    assert np.degrees(tilt).max() < 1.5
    touching = skate.touching(true_s[inside]) & (true_s[inside] > 9.0)
    speed = np.hypot(*made.velocity_m_s[inside][touching, :2].T)
    true_speed = np.hypot(*skate.path(true_s[inside][touching], nu=1).T)
    assert np.abs(np.median(speed - true_speed)) < 0.8
