"""The columns of one push, worked out on paper from simple courses."""

import numpy as np
import pytest

from imustride.simulation.body_truth import OnLane, body_columns, segment_truth
from imustride.simulation.drawing import draw
from imustride.simulation.rotations import turn
from imustride.simulation.timing import Contact, Plan

GRID_HZ = 4000.0
TIME_S = np.arange(6 * 4000 + 1) / GRID_HZ
THIGH_M, SHANK_M = 0.4, 0.5


def line(*knots):
    """Straight lines between (time, value)."""
    return np.interp(TIME_S, *zip(*knots, strict=True))


def tipped(degrees):
    return turn(1, np.radians(degrees))


def plan(side):
    """Stance to 0.5 s, standing push to 1 s, push from 2 s to 3 s, next blade-on at 3.6 s; the other foot between."""
    other = "right" if side == "left" else "left"
    own = (
        Contact(side, "standing", 0, 0.0, 1.0),
        Contact(side, "push", 2, 2.0, 3.0),
        Contact(side, "glide", -1, 3.6, 6.0),
    )
    theirs = (Contact(other, "standing", 1, 0.0, 2.2), Contact(other, "glide", -1, 2.8, 6.0))
    return Plan({side: own, other: theirs}, (), (0.1, 0.5), 0.9, 3.0, (4.0, 5.0), 6.0, -1)


def moved(side="left"):
    """Shank and thigh tip in straight lines; the largest bend is at 2.5 s, the largest tip of the shank too."""
    outward = 1.0 if side == "left" else -1.0
    other = "right" if side == "left" else "left"
    shank_deg = line((0, 10), (2, 10), (2.5, 40), (3, 20), (3.1, 0), (6, 0))
    thigh_deg = line((0, -30), (2, -30), (2.5, -50), (3, -5), (6, -5))
    shank, thigh = tipped(shank_deg), tipped(thigh_deg)
    leg_m = THIGH_M * thigh[:, :, 2] + SHANK_M * shank[:, :, 2]
    # The hip is inside of the ankle by 5 cm at blade-on, growing by 40 cm in each second.
    leg_m[:, 1] = -outward * (0.05 + 0.4 * (TIME_S - 2))
    flat = np.tile(np.eye(3), (len(TIME_S), 1, 1))
    shoulders = np.radians(10) * np.cos(2 * np.pi * (TIME_S - 3.05) / 1.6) * outward
    pelvis = -np.radians(4) * np.cos(2 * np.pi * (TIME_S - 3) / 1.6) * outward
    swing = np.radians(30 + 20 * np.cos(2 * np.pi * (TIME_S - 2.96) / 1.6))
    wave = np.cos(2 * np.pi * (TIME_S - 2) / 1.6)
    drift = 0.3 * TIME_S
    rotations = {
        f"{side}_skate": tipped(np.full(len(TIME_S), -5.0)),
        f"{other}_skate": flat,
        f"{side}_shank": shank,
        f"{side}_thigh": thigh,
        f"{other}_shank": flat,
        f"{other}_thigh": flat,
        "trunk": turn(2, shoulders) @ tipped(line((0, 30), (2, 30), (3, 40), (6, 40))),
        "pelvis": turn(2, pelvis),
        "head": flat,
        f"{other}_wrist": turn(2, np.radians(30 * outward)) @ turn(1, -swing),
        f"{side}_wrist": turn(1, swing),
    }
    places = {
        "pelvis": np.column_stack([4 * TIME_S, 0.1 * wave + drift, 0.02 * wave]),
        "head": np.column_stack([4 * TIME_S, 0.05 * wave + drift, 0.03 * wave - drift]),
        f"{side}_skate": np.column_stack([4 * TIME_S, 0.7 * np.ones_like(drift), 0 * drift]),
        f"{other}_skate": np.zeros((len(TIME_S), 3)),
    }
    return OnLane(
        plan(side),
        rotations,
        places,
        {side: leg_m, other: leg_m},
        dict.fromkeys(("left", "right"), THIGH_M + SHANK_M),
        frozenset({"left", "right"}),
        {side: 0 * swing, other: swing},
    )


def last_push(lane):
    """Return the row of the push from 2 s to 3 s; rows go by blade-off, behind the two standing pushes."""
    return body_columns(lane).iloc[2]


@pytest.mark.parametrize("side", ["left", "right"])
def test_shank_knee_and_leg(side):
    row = last_push(moved(side))
    assert row["shank_inclination_on_deg"] == pytest.approx(10)
    assert row["shank_inclination_max_deg"] == pytest.approx(40)
    assert row["shank_inclination_off_deg"] == pytest.approx(20)
    assert row["shank_to_skate_angle_max_deg"] == pytest.approx(45)  # the skate is tipped back by 5
    assert row["knee_flexion_on_deg"] == pytest.approx(40)
    assert row["knee_flexion_max_deg"] == pytest.approx(90)
    assert row["knee_flexion_off_deg"] == pytest.approx(25)
    assert row["knee_extension_velocity_deg_s"] == pytest.approx(200)  # just after blade-off; 130 before
    # A tenth of 65 degrees is done after a tenth of half a second: 2.55 s.
    assert row["glide_before_extension_s"] == pytest.approx(0.55, abs=1 / GRID_HZ)
    # The shank is within 3 degrees of its largest tip from 2.45 s to 2.575 s; its mean sine is
    # (cos 37 - cos 40) / 3 deg = 0.62246. The thigh goes from -48 to -50 degrees (mean sine -0.75467) in 0.05 s and
    # to -43.25 (-0.72645) in 0.075 s: 0.5 * 0.62246 - 0.4 * 0.73774.
    assert row["hip_ahead_of_ankle_m"] == pytest.approx(0.01613, abs=5e-5)
    # 0.5 sin 10 - 0.4 sin 30 = 0.08682 - 0.2 at blade-on.
    assert row["foot_to_hip_forward_m"] == pytest.approx(0.11318, abs=1e-5)
    assert row["foot_to_hip_lateral_m"] == pytest.approx(0.05)
    # At blade-off x 0.5 sin 20 - 0.4 sin 5 = 0.13615, y 0.45 inside, z 0.5 cos 20 + 0.4 cos 5 = 0.86832.
    assert row["leg_angle_off_deg"] == pytest.approx(np.degrees(np.arctan(0.45 / 0.86832)), abs=1e-3)
    assert row["knee_extension_ratio"] == pytest.approx(
        np.sqrt(0.13615**2 + 0.45**2 + 0.86832**2) / 0.9, abs=1e-4
    )


def test_without_a_thigh_the_shank_stands_for_the_leg():
    lane = moved()
    bare = OnLane(*(getattr(lane, name) for name in lane.__slots__[:5]), frozenset(), lane.arms_rad)
    assert last_push(bare)["leg_angle_off_deg"] == pytest.approx(0.0, abs=1e-9)  # tipped forward only


@pytest.mark.parametrize("side", ["left", "right"])
def test_pelvis_head_trunk_and_arms(side):
    outward = 1.0 if side == "left" else -1.0
    row = last_push(moved(side))
    # One whole wave in the stride: what drifts is taken off.
    assert row["pelvis_lateral_range_m"] == pytest.approx(0.2, abs=1e-6)
    assert row["pelvis_vertical_range_m"] == pytest.approx(0.04, abs=1e-6)
    assert row["head_lateral_range_m"] == pytest.approx(0.1, abs=1e-6)
    assert row["head_vertical_range_m"] == pytest.approx(0.06, abs=1e-6)
    # At 2.55 s: 0.05 cos(123.75 deg) + 0.765, the blade at 0.7 m.
    expected = outward * (0.05 * np.cos(np.radians(123.75)) + 0.765 - 0.7)
    assert row["head_over_foot_lateral_m"] == pytest.approx(expected, abs=2e-4)
    assert row["trunk_lean_deg"] == pytest.approx(35.0, abs=0.01)
    assert row["shoulder_turn_range_deg"] == pytest.approx(20.0, abs=1e-3)
    assert row["pelvis_turn_range_deg"] == pytest.approx(8.0, abs=1e-3)
    # 10 cos(x - 11.25 deg) + 4 cos(x) has the amplitude sqrt(100 + 16 + 80 cos 11.25 deg).
    apart = 2 * np.sqrt(116 + 80 * np.cos(np.radians(11.25)))
    assert row["shoulder_pelvis_separation_deg"] == pytest.approx(apart, abs=1e-3)
    assert row["shoulder_push_lag_s"] == pytest.approx(0.05, abs=1 / GRID_HZ)
    assert row["arm_swing_range_deg"] == pytest.approx(40.0, abs=1e-3)
    assert row["arm_across_share_ratio"] == pytest.approx(0.25)  # sin^2 30
    assert row["arm_push_lag_s"] == pytest.approx(-0.04, abs=1 / GRID_HZ)
    assert row["arm_push_phase_deg"] == pytest.approx(-9.0, abs=0.1)  # of a stride of 1.6 s


def test_standing_pushes_have_no_blade_on_and_no_stride():
    rows = body_columns(moved("left"))
    assert list(rows["knee_flexion_max_deg"].round(6)) == [40.0, 0.0, 90.0]
    assert rows["trunk_lean_deg"][0] == pytest.approx(30.0)
    for column in (
        "knee_flexion_on_deg",
        "foot_to_hip_lateral_m",
        "pelvis_lateral_range_m",
        "arm_push_lag_s",
    ):
        assert rows[column][:2].isna().all()
        assert rows[column][2:].notna().all()


def test_segments_are_on_the_clock_of_the_left_skate():
    drawn = draw(1, "good", 0, {"left_clock_offset_s": 7.0, "left_clock_drift_ppm": 100.0})
    found = segment_truth(drawn, moved(), ("pelvis",))
    assert set(found) == {"left_skate", "right_skate", "pelvis"}
    assert found["pelvis"].time_s[[0, 400]] == pytest.approx([7.0, 8.0001])
    np.testing.assert_allclose(
        found["pelvis"].position_m[400],
        [4.0, 0.3 - 0.1 * np.cos(np.radians(45)), -0.02 * np.cos(np.radians(45))],
    )
