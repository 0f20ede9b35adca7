from dataclasses import replace

import numpy as np
import pytest

from imustride.kinematics import BladePath, Clock
from imustride.metrics.pushes import FLAGS, push_table
from imustride.registry import methods

NAN = np.nan
# Alternate feet from standing; the right foot lifts first, the glide's landings come last.
LEFT = [(NAN, 3.2), *((2.8 + 0.7 * k, 3.2 + 0.7 * k) for k in range(1, 6)), (7.0, NAN)]
RIGHT = [(NAN, 2.8), *((2.45 + 0.7 * k, 2.85 + 0.7 * k) for k in range(1, 6)), (6.65, NAN)]
TIMES = ("blade_on_s", "contact_time_s", "swing_time_s", "stride_time_s", "stride_rate_hz", "step_time_s",
         "double_support_s", "push_off_angular_velocity_deg_s", "edge_angle_deg")  # fmt: skip


def table(**feet):
    return push_table("run-1", feet, list(methods("metrics").values()))


@pytest.fixture
def both(foot):
    return {"left": foot("left", LEFT, pushes=6), "right": foot("right", RIGHT, pushes=6)}


def empty(found, side, push):
    """Names of the empty columns of a row."""
    row = found[(found["side"] == side) & (found["push"] == push)].iloc[0]
    # These blades stay upright: none changes its edge.
    words = [word for word in row["flags"].split(";") if word != "no_edge_change"]
    return {name for name in (*TIMES, "blade_off_s") if np.isnan(row[name])}, ";".join(words)


def test_first_six_pushes_are_the_acceleration(both):
    found = table(**both)
    assert list(found["phase"]) == ["acceleration"] * 7 + ["later"] * 5
    assert list(found["push"][:3]) == [0, 1, 1]
    assert list(found["side"]) == ["right", "left"] * 6


def test_the_left_foot_may_lift_first(foot):
    found = table(left=foot("left", RIGHT, pushes=6), right=foot("right", LEFT, pushes=6))
    assert found["flags"][0] == "standing_start;first_lift"
    assert list(zip(found["side"], found["push"], strict=True))[:3] == [
        ("left", 0),
        ("right", 1),
        ("left", 1),
    ]


def test_which_file_comes_first_changes_the_clock_and_nothing_else(both):
    turned = table(right=both["right"], left=both["left"])
    assert turned.equals(table(**both))


def test_all_times_are_on_the_reference_clock(both, foot):
    away = Clock(offset_s=-3.0, drift=0.0)
    later = foot("right", np.array(RIGHT) + 3.0, clock=away, pushes=6)
    plain, moved = table(**both), table(left=both["left"], right=later)
    for column in ("blade_on_s", "blade_off_s", "step_time_s", "double_support_s"):
        np.testing.assert_allclose(moved[column], plain[column], atol=1e-9)


@pytest.mark.parametrize("push", [0, 3])
def test_values_without_events_are_empty(both, push):
    found, _ = empty(table(**both), "right", push)
    missing = {
        "blade_on_s",
        "contact_time_s",
        "stride_time_s",
        "stride_rate_hz",
        "step_time_s",
        "double_support_s",
    }
    assert found == (missing if push == 0 else set())


def test_a_last_push_without_a_landing_after_it(foot):
    found = table(left=foot("left", LEFT[:3]), right=foot("right", RIGHT[:3]))
    # Left 2 is the last of all: on the ice 3.5 to 3.9, no later blade-on of either foot.
    missing, flags = empty(found, "left", 3)
    assert missing == {"swing_time_s", "stride_time_s", "stride_rate_hz", "step_time_s", "double_support_s"}
    assert flags == ""


def test_a_blade_on_in_a_gap_empties_what_rests_on_it(both, gap, foot):
    # The left blade-on at 4.2 is lost: that of left 3. It ends the stride and swing of left 2 and is the step and
    # double support of the right push before.
    left = foot("left", LEFT, kinematics=gap(4.18, 4.22), pushes=6)
    found = table(left=left, right=both["right"])
    missing, flags = empty(found, "left", 3)
    rest = {
        "blade_on_s",
        "contact_time_s",
        "stride_time_s",
        "stride_rate_hz",
        "step_time_s",
        "edge_angle_deg",
    }
    assert missing == rest
    assert flags == "gap"
    missing, flags = empty(found, "left", 2)
    assert missing == {"swing_time_s", "stride_time_s", "stride_rate_hz"}
    assert flags == "gap"
    missing, flags = empty(found, "right", 2)
    assert missing == {"step_time_s", "double_support_s"}
    assert flags == "gap"
    for side, push in (("left", 1), ("left", 4), ("right", 1), ("right", 3)):
        assert "gap" not in empty(found, side, push)[1]


def test_a_blade_off_in_a_gap_empties_what_rests_on_it(both, gap, foot):
    left = foot("left", LEFT, kinematics=gap(4.59, 4.61), pushes=6)
    missing, flags = empty(table(left=left, right=both["right"]), "left", 3)
    rest = {"contact_time_s", "swing_time_s", "double_support_s", "push_off_angular_velocity_deg_s"}
    assert missing == {*rest, "edge_angle_deg"}
    assert flags == "gap"


def test_places_at_an_event_in_a_gap_are_empty_too(both, gap):
    time_s = np.linspace(0.0, 20.0, 2001)
    path = BladePath(
        time_s=time_s,
        position_m=np.stack([5 * time_s, 0.2 * np.sin(time_s)], axis=1),
        velocity_m_s=np.tile([5.0, 0.0], (2001, 1)),
        heading_rad=np.zeros(4000),
        root=np.full((2001, 2, 3), 0.1),
        heading_root=np.full((2001, 3), 0.01),
        lane_sd_rad=0.02,
    )
    feet = {side: replace(each, path=path) for side, each in both.items()}
    whole = table(**feet)
    assert "no_glide" not in ";".join(whole["flags"])
    rests = {
        4.2: ["blade_speed_m_s", "stride_length_m", "lateral_travel_m"],  # blade-on of left 3
        4.6: ["blade_speed_m_s", "lateral_travel_m", "track_angle_deg", "stride_width_m"],  # its blade-off
    }
    for at_s, columns in rests.items():
        holed = replace(feet["left"], kinematics=gap(at_s - 0.01, at_s + 0.01))
        found = table(left=holed, right=feet["right"])
        (row,) = found[(found["side"] == "left") & (found["push"] == 3)].to_dict("records")
        assert np.isnan([row[column] for column in columns]).all(), at_s
        assert row["flags"] == "gap"
        others = found[(found["side"] == "left") & found["push"].isin([1, 4, 5])]
        assert others["lateral_travel_m"].notna().tolist() == [False, True, True]


def test_a_gap_within_a_contact_leaves_its_times(both, gap, foot):
    # 4.30 to 4.40: well inside left 3 (4.2 to 4.6) and before the last 0.15 s of it.
    left = foot("left", LEFT, kinematics=gap(4.30, 4.40), pushes=6)
    missing, flags = empty(table(left=left, right=both["right"]), "left", 3)
    assert missing == {"edge_angle_deg"}
    assert flags == "gap"


def test_a_gap_in_the_swing_touches_no_push(both, gap, foot):
    left = foot("left", LEFT, kinematics=gap(4.75, 4.80), pushes=6)
    found = table(left=left, right=both["right"])
    assert not found["flags"].str.contains("gap").any()
    assert not found.loc[found["push"] > 1, list(TIMES)].isna().any(axis=None)


@pytest.mark.parametrize(
    ("kind", "missing"), [(0, set()), (1, {"push_off_angular_velocity_deg_s", "edge_angle_deg"})]
)
def test_clipped_samples_are_flagged(both, skate, foot, kind, missing):
    clipped = np.zeros((4000, 2), bool)
    clipped[round(4.55 * 200), kind] = True
    left = foot("left", LEFT, kinematics=skate(clipped=clipped), pushes=6)
    found = table(left=left, right=both["right"])
    assert empty(found, "left", 3) == (missing, "clipped")
    assert found["flags"].str.contains("clipped").sum() == 1


def test_no_push_at_all_gives_no_rows_but_all_columns(both, foot):
    found = table(left=foot("left", LEFT, pushes=0), right=foot("right", RIGHT, pushes=0))
    assert len(found) == 0
    assert list(found.columns) == list(table(**both).columns)


def test_one_foot_that_never_pushed(both, foot):
    found = table(left=both["left"], right=foot("right", RIGHT, pushes=0))
    assert set(found["side"]) == {"left"}


def test_flags_are_words_of_the_closed_list_in_plain_text(both, gap, foot):
    left = foot("left", LEFT, kinematics=gap(3.1, 3.3), pushes=6)
    found = table(left=left, right=both["right"])
    assert {word for cell in found["flags"] for word in cell.split(";")} - {""} <= set(FLAGS)
    assert found["flags"].map(type).eq(str).all()
