"""The checks of sensors that are not on a skate, on facts made by hand; and what is not asked of them."""

from dataclasses import replace

import numpy as np
import pytest

from imustride.checking.view import BodyFacts, RecordingView
from imustride.registry import methods
from imustride.segments import Fitting
from tests.unit.checking.conftest import AXES, SENSOR

CHECKS = methods("checking")


def fitting(forward_deg=2.0, movements=2, problem="", *, upright=True):
    return Fitting(
        np.eye(3),
        upright=upright,
        forward_sd_rad=np.radians(forward_deg),
        movements=movements,
        problem=problem,
    )


FOUND = BodyFacts(recorded=True, fitting=fitting(), in_run=True, clock_sd_s=0.003, heading_sd_deg=1.5)


@pytest.fixture
def worn(sensor):
    """Give a sensor at a place of the body, with facts of it."""

    def at(place, facts=FOUND, **declared):
        told = SENSOR.model_copy(update={"place": place, "axes": None, **declared})
        return replace(sensor, recording=replace(sensor.recording, sensor=told), body=facts)

    return at


BODY = ["left_shank", "right_thigh", "pelvis", "trunk", "head", "left_wrist"]


@pytest.mark.parametrize("place", BODY)
def test_a_good_sensor_passes_at_every_place(worn, limits, place):
    for name in ("fitting_axes", "body_place", "body_joined"):
        outcome = CHECKS[name].judge(worn(place), limits)
        if name == "body_place" and place in {"head", "left_wrist"}:
            assert outcome is None, "nothing in a run parts them from another place"
            continue
        assert (outcome.verdict, outcome.advice) == ("pass", "")
        assert outcome.strain < 1


@pytest.mark.parametrize("name", ["fitting_axes", "body_place", "body_joined"])
def test_a_skate_is_not_asked(sensor, limits, name):
    assert CHECKS[name].judge(sensor, limits) is None


# Place, facts, verdict, what must be said.
STANDING = {
    "squats askew": ("left_shank", fitting(8.0), "warn", "forward axis to 8.0 deg"),
    "squats far askew": ("left_shank", fitting(20.0), "fail", "forward axis to 20.0 deg"),
    "no squat": ("right_thigh", fitting(np.inf, 0), "warn", "no squat bends it: not measured: flexion of the knee"),
    "declared": ("trunk", fitting(10.0, 0), "warn", "as declared, no squat bends it"),
    "upside down": ("pelvis", fitting(problem="+z is upside down; turn the sensor"), "fail", "+z is upside down"),
}  # fmt: skip


@pytest.mark.parametrize("case", STANDING)
def test_what_standing_and_squats_lack_is_named(worn, limits, case):
    place, found, verdict, said = STANDING[case]
    outcome = CHECKS["fitting_axes"].judge(worn(place, replace(FOUND, fitting=found)), limits)
    assert outcome.verdict == verdict
    assert said in outcome.measured
    assert outcome.advice
    assert outcome.strain >= 1


@pytest.mark.parametrize(
    ("place", "verdict", "said"),
    [
        ("left_shank", "not told", "not measured: angles of shank, knee and leg"),
        ("right_thigh", "not told", "not measured: angles of knee and leg"),
        ("trunk", "not told", "not measured: lean of the trunk"),
        ("left_wrist", "not told", "not measured: the arm"),
        ("pelvis", "pass", "not needed"),
        ("head", "pass", "not needed"),
    ],
)
def test_without_movements_it_is_said_what_is_not_measured(worn, limits, place, verdict, said):
    outcome = CHECKS["fitting_axes"].judge(worn(place, BodyFacts(in_run=True)), limits)
    assert outcome.verdict == verdict
    assert said in outcome.measured


def test_movements_that_show_nothing_fail_with_the_reason(worn, limits):
    facts = BodyFacts(recorded=True, fitting_problem="movement all: nobody stands quietly")
    outcome = CHECKS["fitting_axes"].judge(worn("left_wrist", facts), limits)
    assert (outcome.verdict, outcome.measured) == ("fail", "movement all: nobody stands quietly")


def test_another_place_is_named_with_what_to_do(worn, limits):
    facts = replace(FOUND, place_problem="it moves with the right foot, not with the left one; exchange them")
    outcome = CHECKS["body_place"].judge(worn("left_shank", facts), limits)
    assert outcome.verdict == "fail"
    assert outcome.measured == "it moves with the right foot, not with the left one"
    assert outcome.advice == "exchange them"
    assert CHECKS["body_place"].mended_by == "declaring"


def test_without_squats_a_leg_still_tells_its_side_and_the_trunk_nothing(worn, limits):
    facts = replace(FOUND, fitting=None, recorded=False)
    said = CHECKS["body_place"].judge(worn("left_shank", facts), limits)
    assert (said.verdict, said.measured) == (
        "pass",
        "does not move with the right foot, no squats to tell shank from thigh",
    )
    assert CHECKS["body_place"].judge(worn("trunk", facts), limits).verdict == "not told"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"clock_sd_s": 0.014}, "clock to 14.0 ms"),
        ({"heading_sd_deg": 11.0}, "heading to 11.0 deg"),
        ({"heading_sd_deg": np.inf}, "heading to inf deg"),
        ({"run_problem": "no shock was shared, its clock is not joined; drop both heels"}, "no shock was shared"),
    ],
)  # fmt: skip
def test_a_sensor_that_is_not_joined_is_named_and_takes_no_run_away(worn, limits, change, said):
    outcome = CHECKS["body_joined"].judge(worn("head", replace(FOUND, **change)), limits)
    assert outcome.verdict == "warn"
    assert said in outcome.measured
    assert outcome.advice


@pytest.mark.parametrize("name", ["body_place", "body_joined"])
def test_where_no_run_was_analysed_nothing_is_said_of_it(worn, limits, name):
    assert CHECKS[name].judge(worn("left_shank", replace(FOUND, in_run=False)), limits) is None


@pytest.mark.parametrize("name", ["bandwidth", "axes", "tilt", "turned", "loose"])
def test_what_only_a_blade_shows_is_not_asked(worn, limits, name):
    assert CHECKS[name].judge(worn("trunk", axes=AXES), limits) is None


def test_limbs_may_be_sampled_slower_and_in_a_smaller_range(worn, sensor, limits):
    slow = worn("trunk", acceleration_range_g=8, angular_velocity_range_deg_s=1000)
    slow = replace(slow, recording=replace(slow.recording, rate_hz=104.0))
    assert CHECKS["rate"].judge(slow, limits).verdict == "pass"
    assert CHECKS["range"].judge(slow, limits).verdict == "pass"
    skate = replace(sensor, recording=replace(slow.recording, sensor=slow.recording.sensor.model_copy(update={"place": "left_skate"})))  # fmt: skip
    assert CHECKS["rate"].judge(skate, limits).verdict == "warn"
    assert CHECKS["range"].judge(skate, limits).verdict == "warn"
    slower = replace(slow, recording=replace(slow.recording, rate_hz=40.0))
    assert CHECKS["rate"].judge(slower, limits).verdict == "fail"


@pytest.mark.parametrize("name", ["sides", "shocks", "clock", "protocol", "log_end"])
def test_movements_at_the_boards_are_asked_for_no_run(recording, limits, name):
    view = RecordingView("movement all", "movements", recording.sensors, {})
    said = CHECKS[name].judge(view, limits)
    assert said is None or list(said) == []


def test_a_log_of_the_body_that_ends_early_is_named(recording, worn, limits):
    sensors = {**recording.sensors, "head": worn("head")}
    ends_s = {**recording.ends_s, "head": 12.0}
    outcomes = CHECKS["log_end"].judge(replace(recording, sensors=sensors, ends_s=ends_s), limits)
    assert {one.where: one.verdict for one in outcomes}["head"] == "fail"
