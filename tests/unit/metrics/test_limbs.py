"""What is empty and what is flagged where a sensor of the body is lost, badly fitted or has no clock; courses of time."""

from dataclasses import replace

import numpy as np
import pytest

from imustride.kinematics import Clock
from imustride.metrics.limbs import WORST_HEADING_RAD
from imustride.metrics.limbs_of import leg_shares, limbs_of, stride_around
from imustride.metrics.pushes import push_view
from imustride.segments import Body, Fitting, Lengths
from tests.body_rig import (
    BODY_HZ,
    END_S,
    MOTIONS,
    SKATE_HZ,
    WELL,
    body,
    contacts,
    feet,
    row,
    segment,
    skate,
    table,
    thigh,
)  # fmt: skip

BODY_WORDS = ("body_not_aligned", "body_not_joined", "body_lost")
KNEE = [
    "knee_flexion_on_deg",
    "knee_flexion_max_deg",
    "knee_flexion_off_deg",
    "knee_extension_velocity_deg_s",
]
LENGTHS_NEEDED = ["hip_ahead_of_ankle_m", "foot_to_hip_forward_m", "foot_to_hip_lateral_m"]


def words(found, side=None, push=None):
    """Flags of the body by row, or of one row."""
    if side is not None:
        return {word for word in row(found, side, push)["flags"].split(";") if word in BODY_WORDS}
    return {word for flags in found["flags"] for word in flags.split(";") if word in BODY_WORDS}


@pytest.fixture(scope="module")
def whole():
    return table(body())


@pytest.fixture
def limbs():
    """The left foot's segments."""
    view, _ = push_view("left", feet(), joined=True)
    return limbs_of(body(), view, Clock())


def holed(place, from_s, to_s):
    return body(**{place: segment(place, hole_s=(from_s, to_s))})


# Gaps ------------------------------------------------------------------------------------------------------------


def test_a_hole_within_a_contact_empties_what_looks_at_the_whole_of_it(whole):
    """Left 2 is on the ice from 4.2 to 4.6 s; the thigh is lost from 4.35 to 4.45."""
    found = table(holed("left_thigh", 4.35, 4.45))
    seen = row(found, "left", 2)
    assert words(found, "left", 2) == {"body_lost"}
    for column in ("knee_flexion_max_deg", "knee_extension_velocity_deg_s", "glide_before_extension_s"):
        assert np.isnan(seen[column]), column
    for column in (
        "knee_flexion_on_deg",
        "knee_flexion_off_deg",
        "shank_inclination_max_deg",
        "leg_angle_off_deg",
    ):
        assert seen[column] == row(whole, "left", 2)[column], column
    for side, push in (("left", 1), ("left", 3), ("right", 2)):
        assert words(found, side, push) == set()
        assert (
            row(found, side, push)["knee_flexion_max_deg"] == row(whole, side, push)["knee_flexion_max_deg"]
        )


def test_a_hole_at_an_event_empties_what_is_read_there():
    found = table(holed("left_shank", 4.59, 4.61))
    seen = row(found, "left", 2)
    for column in (
        "knee_flexion_off_deg",
        "shank_inclination_off_deg",
        "leg_angle_off_deg",
        "knee_extension_ratio",
    ):
        assert np.isnan(seen[column]), column
    assert seen["knee_flexion_on_deg"] == pytest.approx(80.0, abs=0.02)
    assert words(found, "left", 2) == {"body_lost"}


@pytest.mark.parametrize("place", ["pelvis", "trunk", "right_wrist", "head"])
def test_a_hole_in_the_swing_empties_what_looks_at_the_stride_and_says_so(place):
    """4.8 to 4.9 s is behind left 2's blade-off and before its next blade-on, and within right 3's contact."""
    found = table(holed(place, 4.8, 4.9))
    columns = {
        "pelvis": ["pelvis_lateral_range_m", "pelvis_turn_range_deg"],
        "trunk": ["shoulder_turn_range_deg"],
        "right_wrist": ["arm_swing_range_deg", "arm_across_share_ratio"],
        "head": ["head_lateral_range_m", "head_vertical_range_m"],
    }[place]
    assert np.isnan([row(found, "left", 2)[column] for column in columns]).all()
    assert words(found, "left", 2) == {"body_lost"}
    for push in (1, 3):
        assert np.isfinite([row(found, "left", push)[column] for column in columns]).all()
        assert words(found, "left", push) == set()


def test_every_empty_value_of_a_worn_sensor_has_a_word(whole):
    """Wherever a sensor is lost, no value that was there goes without a flag."""
    for place in MOTIONS:
        for at_s in np.arange(3.05, 6.0, 0.23):
            found = table(holed(place, at_s, at_s + 0.05))
            lost = (found[list(found.columns)].isna() & whole.notna()).any(axis=1)
            flagged = found["flags"].str.contains("body_lost")
            assert not (lost & ~flagged).any(), (place, at_s, found[lost & ~flagged])


def test_a_hole_in_the_skate_is_no_loss_of_the_body():
    time_s = np.arange(round(END_S * SKATE_HZ)) / SKATE_HZ
    moved = skate("left", measured=(time_s < 4.35) | (time_s > 4.45))
    found = table(body(), feet(left={"kinematics": moved}))
    assert "gap" in row(found, "left", 2)["flags"]
    assert words(found) == set()
    assert np.isnan(row(found, "left", 2)["shank_to_skate_angle_max_deg"])
    assert np.isfinite(row(found, "left", 2)["knee_flexion_max_deg"])


def test_an_event_in_a_gap_of_the_skate_empties_what_is_read_there(whole):
    """When the left blade landed at 4.2 s, and left at 4.6, is not known: neither is the knee then."""
    time_s = np.arange(round(END_S * SKATE_HZ)) / SKATE_HZ
    rests = {
        4.2: ["knee_flexion_on_deg", "shank_inclination_on_deg", "foot_to_hip_forward_m", "foot_to_hip_lateral_m",
              "pelvis_lateral_range_m", "head_vertical_range_m", "shoulder_turn_range_deg", "arm_swing_range_deg",
              "arm_across_share_ratio", "arm_push_phase_deg", "glide_before_extension_s", "head_shift_lateral_m",
              "knee_flexion_max_deg", "trunk_lean_deg", "hip_ahead_of_ankle_m"],
        4.6: ["knee_flexion_off_deg", "shank_inclination_off_deg", "leg_angle_off_deg", "knee_extension_ratio",
              "arm_push_lag_s", "shoulder_push_lag_s", "knee_extension_velocity_deg_s", "trunk_lean_deg",
              "glide_before_extension_s", "head_shift_lateral_m"],
    }  # fmt: skip
    for at_s, columns in rests.items():
        moved = skate("left", measured=(time_s < at_s - 0.01) | (time_s > at_s + 0.01))
        found = table(body(), feet(left={"kinematics": moved}))
        seen = row(found, "left", 2)
        assert [column for column in columns if np.isfinite(seen[column])] == [], at_s
        assert "gap" in seen["flags"]
        kept = row(found, "left", 3)
        assert kept["knee_flexion_off_deg"] == row(whole, "left", 3)["knee_flexion_off_deg"]


def test_a_log_that_ends_early_is_lost_from_there_on():
    found = table(body(left_shank=segment("left_shank", end_s=4.5)))
    assert words(found, "left", 1) == set()
    assert np.isfinite(row(found, "left", 1)["knee_flexion_max_deg"])
    for push in (2, 3, 4):
        assert words(found, "left", push) == {"body_lost"}
        assert np.isnan(row(found, "left", push)["knee_flexion_off_deg"])
    assert words(found, "right", 3) == set()


def test_where_the_knee_is_lost_the_edge_does_not_stand_in_for_it():
    """Two criteria in one column would be compared with each other."""
    time_s = np.arange(round(END_S * SKATE_HZ)) / SKATE_HZ
    edge = np.radians(np.where((time_s - 3.4) % 0.8 < 0.1, -5.0, 20.0))
    tipped = np.zeros((len(edge), 3, 3))
    tipped[:, 0, 0] = 1.0
    tipped[:, 1, 1] = tipped[:, 2, 2] = np.cos(edge)
    tipped[:, 1, 2], tipped[:, 2, 1] = -np.sin(edge), np.sin(edge)
    both = feet(left={"kinematics": skate("left", earth_from_segment=tipped)})
    alone = row(table(None, both), "left", 2)
    assert alone["push_start_by"] == "edge"
    assert np.isfinite(alone["glide_before_extension_s"])
    seen = row(table(holed("left_thigh", 4.35, 4.45), both), "left", 2)
    assert seen["push_start_by"] == ""
    assert np.isnan(seen["glide_before_extension_s"])
    assert "body_lost" in seen["flags"]


# Fittings, headings, clocks --------------------------------------------------------------------------------------


def test_a_poor_fitting_empties_what_needs_it_and_says_so(whole):
    poor = segment("left_thigh", fitting=replace(WELL, problem="the squats do not show one axis"))
    found = table(body(left_thigh=poor))
    left, right = (found[found["side"] == side] for side in ("left", "right"))
    assert left[[*KNEE, *LENGTHS_NEEDED, "knee_extension_ratio"]].isna().all(axis=None)
    assert left["flags"].str.contains("body_not_aligned").all()
    assert right.equals(whole[whole["side"] == "right"])
    kept = ["shank_inclination_max_deg", "trunk_lean_deg", "pelvis_lateral_range_m", "arm_push_lag_s"]
    assert left[kept].equals(whole.loc[whole["side"] == "left", kept])


@pytest.mark.parametrize(
    ("place", "gone", "kept"),
    [
        ("left_shank", ["shank_inclination_on_deg", "knee_flexion_off_deg"], ["leg_angle_off_deg", "foot_to_hip_lateral_m"]),
        ("left_thigh", ["knee_flexion_off_deg"], ["leg_angle_off_deg", "shank_inclination_on_deg"]),
        ("trunk", ["trunk_lean_deg"], ["shoulder_turn_range_deg", "shoulder_push_lag_s"]),
    ],
)  # fmt: skip
def test_where_no_squat_showed_forward_what_needs_it_is_empty_and_flagged(whole, place, gone, kept):
    unknown = segment(place, fitting=Fitting(np.eye(3), upright=True, forward_sd_rad=np.inf))
    found = table(body(**{place: unknown}))
    assert np.isnan([row(found, "left", 2)[column] for column in gone]).all()
    for column in kept:
        assert row(found, "left", 2)[column] == row(whole, "left", 2)[column], column
    assert words(found, "left", 2) == {"body_not_aligned"}
    assert words(found, "right", 2) == ({"body_not_aligned"} if place == "trunk" else set())


@pytest.mark.parametrize("place", ["pelvis", "head"])
def test_ranges_of_pelvis_and_head_need_no_standing(whole, place):
    """Where they go and how far they turn is seen without their axes."""
    unknown = segment(place, fitting=Fitting(np.eye(3), upright=False, forward_sd_rad=np.inf))
    assert table(body(**{place: unknown})).equals(whole)


def test_a_forearm_that_never_hung_straight_is_flagged_on_the_other_side():
    unknown = segment("left_wrist", fitting=Fitting(np.eye(3), upright=False, forward_sd_rad=np.inf))
    found = table(body(left_wrist=unknown))
    assert words(found, "right", 2) == {"body_not_aligned"}
    assert np.isnan(row(found, "right", 2)["arm_swing_range_deg"])
    assert words(found, "left", 2) == set()
    assert np.isfinite(row(found, "left", 2)["arm_swing_range_deg"])


@pytest.mark.parametrize("place", ["left_shank", "pelvis", "trunk", "head", "right_wrist"])
def test_a_heading_nobody_knows_empties_what_lies_in_the_lane_and_is_flagged(place):
    lost = segment(place, heading_sd_rad=1.5 * WORST_HEADING_RAD)
    found = table(body(**{place: lost}))
    gone = {
        "left_shank": ["leg_angle_off_deg", "knee_flexion_off_deg"],
        "pelvis": ["pelvis_lateral_range_m", "pelvis_turn_range_deg", "shoulder_pelvis_separation_deg"],
        "trunk": ["shoulder_turn_range_deg", "shoulder_push_lag_s"],
        "head": ["head_lateral_range_m", "head_shift_lateral_m"],
        "right_wrist": ["arm_swing_range_deg", "arm_push_lag_s"],
    }[place]
    seen = row(found, "left", 2)
    assert np.isnan([seen[column] for column in gone]).all()
    assert words(found, "left", 2) == {"body_not_aligned"}
    assert np.isfinite(seen["shank_inclination_max_deg"])
    assert np.isfinite(seen["trunk_lean_deg"])


@pytest.mark.parametrize(
    ("place", "sides"),
    [("right_shank", {"right"}), ("left_wrist", {"right"}), ("pelvis", {"left", "right"})],
)
def test_a_sensor_whose_clock_is_not_joined_is_flagged_on_the_pushes_it_goes_with(place, sides):
    found = table(body(place, problems={place: f"{place}: no shock was shared"}))
    for side in ("left", "right"):
        assert words(found, side, 2) == ({"body_not_joined"} if side in sides else set())


def test_a_foot_whose_clock_stands_alone_has_no_body(whole):
    alone = feet(right={"clock": Clock(joined=False)})
    found = table(body(), alone)
    assert words(found, "right", 2) == {"body_not_joined"}
    assert np.isnan(row(found, "right", 2)["knee_flexion_max_deg"])
    left = found[found["side"] == "left"]
    assert not left["flags"].str.contains("body").any()
    np.testing.assert_allclose(
        left["knee_flexion_max_deg"], whole.loc[whole["side"] == "left", "knee_flexion_max_deg"]
    )


def test_a_foot_that_never_pushes_off_says_nothing_of_clocks():
    cut = feet(left={"contacts_s": np.array([[np.nan, np.nan]]), "pushes": 1})
    assert words(table(body(), cut)) == set()


def test_nothing_worn_but_unreadable_sensors_is_a_body_with_problems():
    found = table(Body({}, Lengths(), {"trunk": "trunk: it moved while the feet stood still"}))
    assert found["flags"].str.contains("body_not_joined").all()


# Lengths ---------------------------------------------------------------------------------------------------------


def test_without_lengths_places_of_the_hip_are_empty_and_the_ratio_takes_published_shares(whole):
    """Shares 0.245 and 0.246 of the height; left blade-off, 60 degrees of knee: sqrt(a^2 + b^2 + ab) / (a + b) = 0.86603."""
    found = table(body(lengths=Lengths()))
    assert found[LENGTHS_NEEDED].isna().all(axis=None)
    assert row(found, "left", 2)["knee_extension_ratio"] == pytest.approx(0.86603, abs=2e-4)
    kept = [
        name
        for name in whole.columns
        if name not in {*LENGTHS_NEEDED, "knee_extension_ratio", "leg_angle_off_deg"}
    ]
    assert found[kept].equals(whole[kept])


def test_shares_of_the_leg():
    assert leg_shares(0.40, 0.45) == pytest.approx((0.40 / 0.85, 0.45 / 0.85))
    assert leg_shares(np.nan, 0.45) == pytest.approx((0.245 / 0.491, 0.246 / 0.491))


# Courses of time -------------------------------------------------------------------------------------------------


def test_a_course_is_read_between_its_samples_and_nowhere_else(limbs):
    course = 3 * limbs.time_s
    course[100] = np.nan
    times = limbs.time_s[[0, 50]] + 0.001
    np.testing.assert_allclose(limbs.at(course, times), 3 * times)
    beside = np.array(
        [
            limbs.time_s[99] + 0.001,
            limbs.time_s[100] + 0.001,
            limbs.time_s[0] - 1,
            limbs.time_s[-1] + 1,
            np.nan,
        ]
    )
    assert np.isnan(limbs.at(course, beside)).all()


def test_the_grid_reaches_a_second_beyond_the_events(limbs):
    assert limbs.time_s[0] == pytest.approx(2.0 - 1.0)
    # The landing of the glide at 6.6 s ends the last stride.
    assert limbs.time_s[-1] == pytest.approx(6.6 + 1.0, abs=0.005)


def test_the_range_is_about_the_line_between_the_ends_of_the_stride(limbs):
    """A rise of 5 a second with 0.3 of a swing that begins and ends on it: 0.6; the line alone has none."""
    line = 5 * limbs.time_s
    swing = 0.3 * np.sin(2 * np.pi * (limbs.time_s - 3.4) / 0.8)
    np.testing.assert_allclose(limbs.stride_range(line)[1:], 0.0, atol=1e-9)
    np.testing.assert_allclose(limbs.stride_range(line + swing)[1:], 0.6, atol=1e-3)
    assert np.isnan(limbs.stride_range(line)[0])


def test_the_peak_nearest_to_an_instant_counts_within_reach(limbs):
    """Peaks every 0.5 s from 3.1; to 4.0 the nearest is 4.1, to 4.3 too; 0.05 s of reach misses both."""
    course = np.cos(2 * np.pi * (limbs.time_s - 3.1) / 0.5)
    near, reach = np.array([4.0, 4.3, np.nan]), np.full(3, 0.4)
    np.testing.assert_allclose(limbs.peak_s(course, near, reach), [4.1, 4.1, np.nan], atol=1e-4)
    assert np.isnan(limbs.peak_s(course, near, np.full(3, 0.05))).all()
    assert np.isnan(limbs.peak_s(limbs.time_s, near, reach)).all()


def test_the_stride_around_an_instant():
    """Strides of 0.8 s about 3.8 and 1.0 s about 4.7: halfway between 0.9, constant beyond."""
    found = stride_around(
        np.array([0.0, 3.8, 4.25, 4.7, 9.0]), np.array([3.4, np.nan, 4.2]), np.array([4.2, 4.2, 5.2])
    )
    np.testing.assert_allclose(found, [0.8, 0.8, 0.9, 1.0, 1.0])
    assert np.isnan(stride_around(np.zeros(2), np.array([np.nan]), np.array([3.0]))).all()


def test_attitudes_between_samples_are_rotations_on_the_way():
    """The thigh turns by 10 sin u degrees: between two samples of 2.5 ms its pitch is the formula's to a thousandth."""
    worn = segment("left_thigh")
    times = 4.0 + np.array([0.0, 0.3, 0.7]) / BODY_HZ
    seen = worn.attitude(times)
    np.testing.assert_allclose(seen @ seen.transpose(0, 2, 1), np.tile(np.eye(3), (3, 1, 1)), atol=1e-12)
    np.testing.assert_allclose(seen, thigh("left", times), atol=2e-5)
    assert np.isnan(worn.attitude(np.array([-0.01, END_S]))).all()


def test_the_contacts_of_the_rig_are_those_of_its_text():
    np.testing.assert_allclose(contacts("left")[1:4], [[3.4, 3.8], [4.2, 4.6], [5.0, 5.4]])
