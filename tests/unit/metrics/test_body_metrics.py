"""Every column of the body worked out on paper, on the body of `tests.body_rig`.

Left leg, u the phase from blade-on (0) to blade-off (pi): knee = shank - thigh = 70 + 10 sin u + 10 cos u
= 70 + 14.142 sin(u + 45 deg): 80 at blade-on, 60 at blade-off, at most 84.142 at u = 45 degrees (0.1 s).
It falls fastest at u = 135 degrees: 14.142 * 2 pi / 0.8 s = 111.07 deg/s. The extension starts where the knee was last bent
by 84.142 - 0.1 (84.142 - 60) = 81.728: sin(u + 45) = 0.8293, u = 78.97 degrees, 0.1755 s. The right leg has 5 degrees more.
Lengths: thigh 0.40 m, shank 0.45 m.
"""

import numpy as np
import pytest
from scipy.integrate import quad

from imustride.kinematics import Clock
from imustride.metrics.pushes import FLAGS
from imustride.registry import methods
from tests.body_rig import (
    BODY_HZ,
    MOTIONS,
    body,
    feet,
    phase,
    row,
    segment,
    shank,
    skate,
    table,
    thigh,
    turns,
)

GRID_S = 0.004


def hip_ahead_m(shank_deg):
    """Mean of 0.45 sin(shank + 10 sin u) + 0.40 sin(-40 - 10 cos u) where 10 sin u is at least 7: the shank's deepest 3 degrees."""

    def ahead(u):
        tipped = np.radians([shank_deg + 10 * np.sin(u), -40 - 10 * np.cos(u)])
        return np.array([0.45, 0.40]) @ np.sin(tipped)

    begin, end = np.arcsin(0.7), np.pi - np.arcsin(0.7)
    return quad(ahead, begin, end)[0] / (end - begin)


ON_PAPER = {
    # column: left, right, tolerance
    "shank_inclination_on_deg": (30.0, 35.0, 0.02),
    "shank_inclination_max_deg": (40.0, 45.0, 0.02),
    "shank_inclination_off_deg": (30.0, 35.0, 0.02),
    "shank_to_skate_angle_max_deg": (40.0, 45.0, 0.02),
    "knee_flexion_on_deg": (80.0, 85.0, 0.02),
    "knee_flexion_max_deg": (84.142, 89.142, 0.02),
    "knee_flexion_off_deg": (60.0, 65.0, 0.02),
    "knee_extension_velocity_deg_s": (111.07, 111.07, 0.3),
    # Left: the knee bent by 60 degrees: sqrt(0.40^2 + 0.45^2 + 2 * 0.40 * 0.45 cos 60) / 0.85; right: 65 degrees.
    "knee_extension_ratio": (0.73654 / 0.85, 0.71741 / 0.85, 2e-4),
    "leg_angle_off_deg": (0.0, 0.0, 1e-6),
    "hip_ahead_of_ankle_m": (hip_ahead_m(30.0), hip_ahead_m(35.0), 1e-3),
    # Shank 30 or 35, thigh -50: -(0.45 sin 30 - 0.40 sin 50).
    "foot_to_hip_forward_m": (0.40 * 0.766044 - 0.225, 0.40 * 0.766044 - 0.45 * 0.573576, 1e-3),
    "foot_to_hip_lateral_m": (0.0, 0.0, 1e-9),
    "pelvis_lateral_range_m": (0.16, 0.16, 1e-3),
    "pelvis_vertical_range_m": (0.04, 0.04, 1e-3),
    "head_lateral_range_m": (0.10, 0.10, 1e-3),
    "head_vertical_range_m": (0.03, 0.03, 1e-3),
    # The head swings to 0.05 m left at the left start of extension, half a stride later as far right.
    "head_shift_lateral_m": (0.05, 0.05, 1e-3),
    # The mean of 5 sin u over half a turn is 5 * 2 / pi, on the left as much forward as on the right back.
    "trunk_lean_deg": (40 + 10 / np.pi, 40 - 10 / np.pi, 0.05),
    "shoulder_turn_range_deg": (30.0, 30.0, 0.05),
    "pelvis_turn_range_deg": (12.0, 12.0, 0.05),
    "shoulder_pelvis_separation_deg": (18.0, 18.0, 0.05),
    # Turned left most at 3.85 + 0.8 k, right most 0.4 s later: 0.05 s behind the blade-off of either foot.
    "shoulder_push_lag_s": (0.05, 0.05, 5e-4),
    "arm_swing_range_deg": (60.0, 50.0, 0.05),
    # In a plane beta from the lane: sin^2 beta.
    "arm_across_share_ratio": (np.sin(np.radians(20)) ** 2, np.sin(np.radians(30)) ** 2, 1e-4),
    "arm_push_lag_s": (0.03, -0.05, 5e-4),
    "arm_push_phase_deg": (360 * 0.03 / 0.8, -360 * 0.05 / 0.8, 0.25),
    "glide_before_extension_s": (0.1755, 0.1755, GRID_S),
}  # fmt: skip
STRIDES = [
    name for name in ON_PAPER if any(word in name for word in ("range", "separation", "arm_", "push_lag"))
]


@pytest.fixture(scope="module")
def found():
    return table(body())


@pytest.mark.parametrize("column", ON_PAPER)
def test_the_column_is_what_it_is_on_paper(found, column):
    left, right, off = ON_PAPER[column]
    for push in (2, 3, 4):
        # The foot that lifts first starts with push 0.
        assert row(found, "left", push - 1)[column] == pytest.approx(left, abs=off)
        assert row(found, "right", push)[column] == pytest.approx(right, abs=off)


def test_no_column_of_the_body_is_left_out_here():
    of_body = {name for name, metric in methods("metrics").items() if set(metric.places) != {"skate"}}
    assert of_body == set(ON_PAPER)


def test_what_tells_the_start_of_the_push_is_said(found):
    assert set(found["push_start_by"][found["blade_on_s"].notna()]) == {"knee"}
    assert set(found["push_start_by"][found["blade_on_s"].isna()]) == {""}


def test_a_whole_body_has_no_flags(found):
    words = set(";".join(found["flags"]).split(";"))
    assert words <= {"", "standing_start", "first_lift", "no_edge_change", "no_glide"}


@pytest.mark.parametrize(("side", "sign"), [("left", 1), ("right", -1)])
def test_a_leg_tipped_sideways(side, sign):
    """The whole leg tipped outward by 35 degrees, by a turn about the lane's own x axis.

    The knee does not see it. The line from hip to ankle is 35 degrees out. Left at blade-on: shank 30, thigh -50:
    sin 35 (0.40 cos 50 + 0.45 cos 30) = 0.37099 m; the pitch is asin(sin 30 cos 35) = 24.18. Right: shank 35:
    sin 35 (0.40 cos 50 + 0.45 cos 35) = 0.35891 m; asin(sin 35 cos 35) = 28.02.
    """
    tip = turns("X", np.array([sign * 35.0]))[0]
    tipped = {
        f"{side}_{part}": segment(f"{side}_{part}", lambda t, f=f: tip @ f(side, t))
        for part, f in (("shank", shank), ("thigh", thigh))
    }
    seen = row(table(body(**tipped)), side, 3)
    left = side == "left"
    assert seen["leg_angle_off_deg"] == pytest.approx(35.0, abs=0.01)
    assert seen["foot_to_hip_lateral_m"] == pytest.approx(0.37099 if left else 0.35891, abs=1e-3)
    assert seen["shank_inclination_on_deg"] == pytest.approx(24.18 if left else 28.02, abs=0.02)
    for column in ("knee_flexion_max_deg", "knee_extension_velocity_deg_s", "knee_extension_ratio"):
        paper = ON_PAPER[column]
        assert seen[column] == pytest.approx(paper[0 if left else 1], abs=paper[2]), column


def test_without_a_thigh_the_shank_alone_shows_the_leg_angle():
    """Shank tipped 20 degrees outward in the frontal plane, the thigh 50: the shank's own angle counts."""
    leaning = segment("left_shank", lambda t: turns("X", np.full(len(t), 20.0)))
    upper = segment("left_thigh", lambda t: turns("X", np.full(len(t), 50.0)))
    alone = row(table(body("left_thigh", left_shank=leaning)), "left", 2)
    assert alone["leg_angle_off_deg"] == pytest.approx(20.0)
    both = row(table(body(left_shank=leaning, left_thigh=upper)), "left", 2)
    # 0.40 at 50 and 0.45 at 20 degrees: atan2(0.40 sin 50 + 0.45 sin 20, 0.40 cos 50 + 0.45 cos 20).
    assert both["leg_angle_off_deg"] == pytest.approx(34.10, abs=0.02)


def test_the_whole_leg_turned_from_the_lane():
    """A leg that skates 30 degrees outward of the lane: pitch and knee stay, what lies along the lane is cos 30 of it."""
    turn = turns("Z", np.array([30.0]))[0]
    turned = {
        f"left_{part}": segment(f"left_{part}", lambda t, f=f: turn @ f("left", t))
        for part, f in (("shank", shank), ("thigh", thigh))
    }
    seen = row(table(body(**turned)), "left", 3)
    assert seen["shank_inclination_max_deg"] == pytest.approx(40.0, abs=0.02)
    assert seen["knee_flexion_off_deg"] == pytest.approx(60.0, abs=0.02)
    forward = ON_PAPER["foot_to_hip_forward_m"][0]
    assert seen["foot_to_hip_forward_m"] == pytest.approx(forward * np.cos(np.radians(30)), abs=1e-3)
    # The hip is behind the ankle along the leg's own direction, which points to the left: the ankle lies outward.
    assert seen["foot_to_hip_lateral_m"] == pytest.approx(forward * np.sin(np.radians(30)), abs=1e-3)


def test_the_skate_is_put_into_the_lane_before_it_is_compared():
    """Toe 10 degrees down (a turn about +y), own heading 25 degrees from the lane, which its path tells: 40 - 10 = 30."""
    moved = skate("left", earth_from_segment=np.tile(turns("ZY", [25.0], [10.0])[0], (2400, 1, 1)))
    seen = row(table(body(), feet(left={"kinematics": moved})), "left", 2)
    assert seen["shank_to_skate_angle_max_deg"] == pytest.approx(30.0, abs=0.02)


def test_standing_pushes_are_measured_from_the_end_of_the_stance(found):
    """2.0 to 3.0 s on the left, whole strides long: the largest angles are those of the course; what needs a blade-on is empty."""
    first = row(found, "left", 0)
    assert first["shank_inclination_max_deg"] == pytest.approx(40.0, abs=0.02)
    assert first["knee_flexion_max_deg"] == pytest.approx(84.142, abs=0.02)
    # 3.0 s is half a stride before a blade-on: like a blade-off.
    assert first["knee_flexion_off_deg"] == pytest.approx(60.0, abs=0.02)
    for column in ("shank_inclination_on_deg", "knee_flexion_on_deg", "foot_to_hip_forward_m", "foot_to_hip_lateral_m",
                   "glide_before_extension_s", "head_shift_lateral_m", *STRIDES):  # fmt: skip
        assert np.isnan(first[column]), column


def test_a_push_cut_by_the_end_of_the_log_has_what_came_before():
    cut = feet(left={"contacts_s": np.vstack((feet()["left"].contacts_s[:3], [[5.0, np.nan]])), "pushes": 4})
    seen = row(table(body(), cut), "left", 3)
    assert "log_end" in seen["flags"]
    assert seen["knee_flexion_on_deg"] == pytest.approx(80.0, abs=0.02)
    for column in (
        "knee_flexion_max_deg",
        "knee_flexion_off_deg",
        "leg_angle_off_deg",
        "trunk_lean_deg",
        *STRIDES,
    ):
        assert np.isnan(seen[column]), column


NEEDS = {
    "shank": {name for name in ON_PAPER if "knee" in name or "shank" in name or "foot_to_hip" in name}
    | {"leg_angle_off_deg", "hip_ahead_of_ankle_m"},
    "thigh": {name for name in ON_PAPER if "knee" in name or "foot_to_hip" in name} | {"hip_ahead_of_ankle_m"},
    "wrist": {name for name in ON_PAPER if "arm_" in name},
    "pelvis": {name for name in ON_PAPER if "pelvis" in name},
    "trunk": {name for name in ON_PAPER if "shoulder" in name} | {"trunk_lean_deg"},
    "head": {name for name in ON_PAPER if "head_" in name and "ahead" not in name},
}  # fmt: skip
# Without a knee the edge change has to show the start of the push, and these blades stay upright.
NEEDS["shank"] |= {"glide_before_extension_s", "head_shift_lateral_m"}
NEEDS["thigh"] |= {"glide_before_extension_s", "head_shift_lateral_m"}


@pytest.mark.parametrize("place", MOTIONS)
def test_a_place_that_is_not_worn_empties_its_own_columns_and_no_other(found, place):
    without = table(body(place))
    side, _, kind = place.partition("_")
    kind = kind or place
    # Arms go with the push of the other side.
    sides = {"left": {"left"}, "right": {"right"}}.get(side, {"left", "right"})
    if kind == "wrist":
        sides = {"left", "right"} - sides
    for mine in ("left", "right"):
        one, other = (each[each["side"] == mine] for each in (found, without))
        gone = NEEDS[kind] if mine in sides else set()
        changed = gone | ({"leg_angle_off_deg"} if kind == "thigh" and mine in sides else set())
        kept = [name for name in ON_PAPER if name not in changed]
        assert one[kept].equals(other[kept])
        assert other[list(gone)].isna().all(axis=None)
    assert without["flags"].equals(found["flags"])


def test_skates_alone_have_empty_columns_and_no_flag_of_the_body(found):
    alone = table()
    assert alone[list(ON_PAPER)].isna().all(axis=None)
    assert "body" not in ";".join(alone["flags"])
    of_skates = [name for name in found.columns if name not in ON_PAPER and name != "push_start_by"]
    assert alone[of_skates].equals(found[of_skates])


@pytest.mark.parametrize("place", MOTIONS)
def test_the_sensors_own_clock_and_rate_make_no_difference(found, place):
    clock = Clock(offset_s=-812.5, drift=6e-5, at_s=818.0)
    away = table(body(**{place: segment(place, clock=clock, rate_hz=BODY_HZ / 2)}))
    for name, (_, _, off) in ON_PAPER.items():
        np.testing.assert_allclose(away[name], found[name], atol=max(off, 1e-9), err_msg=name)


def test_the_feet_may_have_another_clock_than_the_run(found):
    """The run's clock is the right skate's, the left one's is 7 s ahead and fast: the body keeps to the run."""
    clock = Clock(offset_s=-7.0, drift=4e-5, at_s=12.0)
    own = np.asarray(clock.own(feet()["left"].contacts_s.ravel())).reshape(-1, 2)
    ahead = skate("left", start_s=7.0, cut=type(skate("left").cut)((7.0, 9.0), (9.0, 19.0)))
    both = feet(left={"clock": clock, "contacts_s": own, "kinematics": ahead, "path": None})
    seen = table(body(), both)
    for name, (_, _, off) in ON_PAPER.items():
        if name != "shank_to_skate_angle_max_deg":
            np.testing.assert_allclose(
                seen[name][seen["side"] == "left"],
                found[name][found["side"] == "left"],
                atol=max(off, 1e-6),
                err_msg=name,
            )


def test_a_drifting_pelvis_has_the_same_ranges(found):
    """Half a degree of tilt left in: 0.086 m/s^2 over a stride of 0.8 s makes 0.086 * 0.8^2 / 8 = 7 mm at most."""
    plain = segment("pelvis")
    biased = segment("pelvis", acceleration_m_s2=plain.acceleration_m_s2 + np.array([0.0, 0.086, -0.086]))
    seen = table(body(pelvis=biased))
    for name in ("pelvis_lateral_range_m", "pelvis_vertical_range_m"):
        np.testing.assert_allclose(seen[name], found[name], atol=0.0071)


def test_the_knee_that_never_extends_is_bent_until_blade_off():
    held = {
        f"left_{part}": segment(f"left_{part}", lambda t, f=f: f("left", 0 * t))
        for part, f in (("shank", shank), ("thigh", thigh))
    }
    seen = row(table(body(**held)), "left", 2)
    assert seen["glide_before_extension_s"] == pytest.approx(0.4, abs=GRID_S)
    assert seen["knee_extension_velocity_deg_s"] == pytest.approx(0.0, abs=1e-6)


def test_words_about_the_body_are_in_the_closed_list():
    assert {"body_not_aligned", "body_not_joined", "body_lost"} <= set(FLAGS)


def test_the_rig_is_what_it_says():
    """By hand: at the left blade-on the phase is 0, at blade-off half a turn."""
    assert phase("left", np.array([3.4, 3.8])) == pytest.approx([0.0, np.pi])
