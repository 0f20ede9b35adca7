"""Each fault by itself, planted by hand; and none where nothing was planted."""

import numpy as np
import pytest

from imustride.quality.judging import judge


@pytest.fixture
def verdict(make_skate, make_pushes, offs):
    """Judge hand-made skates; give the joined faults and whether the sides are swapped."""

    def call(left=None, right=None, pushes=None, sides=("left", "right")):
        given = {"left": left or {}, "right": right or {}}
        table = make_pushes() if pushes is None else pushes
        skates = {side: make_skate(side, **given[side]) for side in sides}
        table = table[table["side"].isin(sides)]
        found = judge(skates, {side: offs(table).get(side, np.zeros(0)) for side in sides}, table)
        return "; ".join(found.faults), found.swapped

    return call


def test_a_good_run_is_usable(verdict):
    assert verdict() == ("", False)


def test_one_foot_alone_is_usable(verdict):
    assert verdict(sides=("left",)) == ("", False)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_sensor_turned_in_pitch_is_noticed_after_the_stop(verdict, side):
    faults, _ = verdict(**{side: {"stop": (15.0, 0.0)}})
    assert faults == (
        f"the {side} sensor turned in its mount: by 15 degrees in pitch and 0 in roll from the stance before the "
        "start, seen after the stop"
    )


def test_leaning_ankles_after_the_stop_are_no_fault(verdict):
    assert verdict(left={"stop": (2.0, 15.0)}, right={"stop": (-2.0, -15.0)})[0] == ""


def test_a_sensor_turned_in_roll(verdict):
    assert "27 in roll" in verdict(left={"stop": (0.0, 27.0)})[0]


def test_without_a_stance_after_the_stop_the_glide_tells(verdict, make_pushes):
    early = make_pushes(count=8)  # the last push at 6.45 s: the skates glide, leaning, from 7 s on
    assert verdict(left={"stood": False}, pushes=early)[0] == ""
    faults, _ = verdict(left={"stood": False, "edge_deg": 50.0}, pushes=early)
    assert "50 in roll" in faults
    assert faults.endswith("seen in the glide")


def test_swapped_sides_are_said(verdict):
    faults, swapped = verdict(left={"edge_deg": -30.0}, right={"edge_deg": -30.0})
    assert swapped
    assert faults.startswith("left and right are swapped: ")


def test_one_side_that_contradicts_is_no_swap(verdict):
    faults, swapped = verdict(right={"edge_deg": -30.0})
    assert not swapped
    assert faults.startswith("the pushes of the right foot lean outwards: ")


def test_flat_blades_tell_no_side(verdict):
    assert verdict(left={"edge_deg": -3.0}, right={"edge_deg": -3.0}) == ("", False)


def test_a_skate_that_runs_backwards_has_wrong_axes(verdict):
    faults, _ = verdict(left={"forward": -1.0})
    assert faults.startswith("the left skate does not run the way its forward axis points")


def test_a_cut_off_angular_velocity_counts_where_it_hides_push_offs(verdict, make_pushes, offs):
    at_s = offs(make_pushes())["left"]
    few = [(1, off - 0.01, off + 0.01) for off in at_s[:1]]
    many = [(1, off - 0.01, off + 0.01) for off in at_s[:3]]
    assert verdict(left={"clipped": few})[0] == ""
    assert verdict(left={"clipped": many})[0] == (
        "the angular velocity of the left sensor is cut off in 3 of 7 push-offs; set a larger range"
    )


def test_landings_may_clip_the_acceleration_but_not_the_motion(verdict):
    assert verdict(left={"clipped": [(0, 4.0, 4.05)]})[0] == ""
    assert "cut off in 4 % of the motion" in verdict(left={"clipped": [(0, 4.0, 4.4)]})[0]


def test_gaps_may_take_a_little(verdict):
    assert verdict(right={"lost": [(5.0, 5.5)]})[0] == ""
    assert "gaps take 13 % of the motion of the right sensor" in verdict(right={"lost": [(5.0, 6.2)]})[0]


def test_no_push_and_too_few(verdict, make_pushes):
    assert verdict(pushes=make_pushes(count=1))[0] == "no push was found"
    assert verdict(pushes=make_pushes(count=4, first="left"))[0] == (
        "only 1 push of the left foot found; wanted 2 or more"
    )


def test_a_slow_drift_of_the_rhythm_is_none(verdict, make_pushes):
    intervals = np.linspace(0.28, 0.45, 14)
    assert verdict(pushes=make_pushes(intervals=intervals, contacts=0.9 * intervals))[0] == ""


def test_uneven_feet_are_none(verdict, make_pushes):
    contacts = np.where(np.arange(14) % 2, 0.26, 0.36)
    assert verdict(pushes=make_pushes(contacts=contacts))[0] == ""


def test_a_stumble_is_named_with_its_place(verdict, make_pushes):
    contacts = np.full(14, 0.30)
    contacts[8], contacts[9] = 0.25, 0.54
    faults, _ = verdict(pushes=make_pushes(contacts=contacts))
    assert faults == (
        "the rhythm breaks at push 5 left (7.15 s): contact 0.54 s, 0.30 s by the run's own trend (a stumble?)"
    )


def test_a_push_not_found_is_two_in_a_row(verdict, make_pushes):
    pushes = make_pushes().drop(index=7)
    faults, _ = verdict(pushes=pushes)
    assert faults.startswith("two pushes in a row by the right foot at 6.80 s")


def test_without_joined_clocks_each_foot_has_its_own_rhythm(verdict, make_pushes):
    contacts = np.full(14, 0.30)
    contacts[9] = 0.54
    pushes = make_pushes(contacts=contacts)
    pushes["flags"] = "clocks_not_synchronised"
    pushes["push"] += 1
    assert "left (7.15 s): contact 0.54 s" in verdict(pushes=pushes)[0]
    shifted = pushes.assign(
        blade_off_s=pushes["blade_off_s"] + np.where(pushes["side"] == "left", 1.5, 0.0), contact_time_s=0.30
    ).sort_values("blade_off_s")
    assert "rhythm" not in verdict(pushes=shifted)[0]


def test_a_turn_lost_in_a_gap_is_not_put_down_to_the_axes(verdict):
    faults, _ = verdict(left={"forward": -1.0, "lost": [(5.0, 5.2)]})
    assert faults.startswith(
        "the left skate does not run the way its forward axis points: its turn was lost in a gap"
    )


def test_the_first_pushes_have_no_rhythm_yet(verdict, make_pushes):
    intervals = np.full(14, 0.35)
    intervals[1:3] = 0.12, 0.75
    assert verdict(pushes=make_pushes(intervals=intervals))[0] == ""


def test_a_long_interval_between_even_contacts_is_a_break(verdict, make_pushes):
    intervals = np.full(14, 0.35)
    intervals[8] = 0.75
    assert (
        "interval to the push before 0.75 s, 0.35 s by" in verdict(pushes=make_pushes(intervals=intervals))[0]
    )
