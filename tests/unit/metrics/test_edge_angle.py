import numpy as np
import pytest

from imustride.metrics.edge_angle_deg import measure


def tipped(roll_deg, pitch_deg=0.0):
    """Attitude of a skate by roll [deg] about x after pitch about y, shape (n, 3, 3)."""
    roll, pitch = np.radians(np.broadcast_arrays(roll_deg, pitch_deg))
    zero, cos, sin = np.zeros_like(roll), np.cos, np.sin
    rows = [
        [cos(pitch), sin(pitch) * sin(roll), sin(pitch) * cos(roll)],
        [zero, cos(roll), -sin(roll)],
        [-sin(pitch), cos(pitch) * sin(roll), cos(pitch) * cos(roll)],
    ]
    return np.array(rows).transpose(2, 0, 1)


@pytest.mark.parametrize(("side", "sign"), [("left", 1), ("right", -1)])
@pytest.mark.parametrize("roll_deg", [-20.0, 35.0])
def test_positive_towards_the_inside_edge_on_both_feet(skate, view, side, sign, roll_deg):
    kinematics = skate(side, earth_from_segment=tipped(np.full(4000, roll_deg)))
    assert measure(view([5.0], kinematics)) == pytest.approx([sign * roll_deg])


def test_pitch_and_heading_are_no_edge(skate, view):
    pitched = tipped(np.full(4000, 30.0), 40.0)
    heading = np.radians(70.0)
    turn = np.array(
        [[np.cos(heading), -np.sin(heading), 0], [np.sin(heading), np.cos(heading), 0], [0, 0, 1]]
    )
    kinematics = skate(earth_from_segment=turn @ pitched)
    expected = np.degrees(np.arcsin(np.sin(np.radians(30.0)) * np.cos(np.radians(40.0))))
    assert measure(view([5.0], kinematics)) == pytest.approx([expected])


def test_the_largest_of_the_contact_and_not_of_the_swing(skate, view):
    time_s = np.arange(4000) / 200.0
    roll = 20.0 * np.exp(-(((time_s - 4.8) / 0.05) ** 2)) + 50.0 * np.exp(-(((time_s - 5.3) / 0.05) ** 2))
    assert measure(view([5.0], skate(earth_from_segment=tipped(roll)))) == pytest.approx([20.0], abs=0.1)


def test_a_standing_contact_begins_with_the_end_of_the_stance(skate, view):
    time_s = np.arange(4000) / 200.0
    roll = np.where(time_s < 1.9, 30.0, np.where(time_s < 2.3, 12.0, 0.0))
    seen = view([2.5], skate(earth_from_segment=tipped(roll)), on_s=np.array([np.nan]))
    assert measure(seen) == pytest.approx([12.0])


def test_empty_without_blade_off(skate, view):
    assert np.isnan(measure(view([np.nan], skate()))).all()
