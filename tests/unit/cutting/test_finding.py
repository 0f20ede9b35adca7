"""Runs planted by hand in an evening of two feet: found where they lie, and what is none is set aside with a reason."""

import numpy as np
import pytest

from imustride.cutting.finding import find_runs
from imustride.cutting.survey import Survey
from imustride.recording import SensorLog
from imustride.session import Sensor

RATE_HZ = 200.0
LAG_S = -63.4  # the left clock minus the right one
KNOCKS = ("knock", "still", "knock")
RUN = (*KNOCKS, "stance", "sprint", "glide", "pause", *KNOCKS)
SECONDS = {
    "knock": 0.05, "still": 0.8, "stance": 4.0, "sprint": 6.0, "glide": 2.0, "pause": 4.0, "rest": 30.0,
    "skating": 40.0, "back": 12.0, "hop": 1.5, "long": 25.0, "off": 30.0,
}  # fmt: skip
MOVES = {"sprint": 1.0, "skating": 0.7, "back": 0.7, "hop": 1.0, "long": 1.0, "glide": 0.1}
LEFT, RIGHT = "left_skate", "right_skate"


def planted(kinds):
    """Times at which each kind begins [s], and the time at the end."""
    begins = np.concatenate(([0.0], np.cumsum([SECONDS[kind] for kind in kinds])))
    return list(zip(kinds, begins, strict=False)), float(begins[-1])


def foot(kinds, place, *, still=(), until_s=np.inf, lost=()):
    """Blocks of one foot; `still` and `lost` are spans in which it stands, or nothing is written."""
    pieces, end_s = planted(kinds)
    time_s = np.arange(round(end_s * RATE_HZ)) / RATE_HZ
    rng = np.random.default_rng(len(place))
    turning = np.radians(rng.normal(0, 0.1, (len(time_s), 3)))
    force = rng.normal(0, 0.03, (len(time_s), 3)) + np.array([0.0, 0.0, 9.81])
    phase = 0.0 if place == LEFT else np.pi
    swing = np.stack([np.sin(2 * np.pi * f * time_s + phase) for f in (1.0, 2.0, 1.0)], axis=1)
    for kind, begin_s in pieces:
        inside = (time_s >= begin_s) & (time_s < begin_s + SECONDS[kind])
        share = MOVES.get(kind, 0.0)
        turning[inside] += share * (np.radians([60.0, 200.0, 90.0]) * swing)[inside]
        force[inside] += share * rng.normal(0, 4.0, (inside.sum(), 3))
        if kind == "knock":
            force[np.searchsorted(time_s, begin_s + 0.02)] += [0.0, 20.0, 60.0]
    kept = time_s < until_s
    for from_s, to_s in still:
        inside = (time_s > from_s) & (time_s < to_s)
        turning[inside] = np.radians(rng.normal(0, 0.1, (inside.sum(), 3)))
        force[inside] = rng.normal(0, 0.03, (inside.sum(), 3)) + np.array([0.0, 0.0, 9.81])
    for from_s, to_s in lost:
        kept &= (time_s < from_s) | (time_s > to_s)
    survey = Survey()
    own_s = time_s if place == LEFT else time_s - LAG_S
    survey.add(SensorLog(Sensor(place=place), own_s[kept], force[kept], turning[kept]))
    return survey.blocks()


def found_in(kinds, **of_right):
    feet = {LEFT: foot(kinds, LEFT), RIGHT: foot(kinds, RIGHT, **of_right)}
    # What a coarse join leaves over.
    return find_runs(feet, {LEFT: 0.0, RIGHT: LAG_S + 0.3})


def begins(kinds, kind="sprint"):
    return [begin_s for name, begin_s in planted(kinds)[0] if name == kind]


def sure(found):
    return [one for one in found if one.is_sure]


EVENING = ("rest", "skating", "rest", *RUN, "pause", "back", "rest", *RUN, "rest", "skating", "rest")


def test_planted_runs_are_found_where_they_lie_with_their_shocks():
    found = sure(found_in(EVENING))
    assert [one.start_s for one in found] == pytest.approx(begins(EVENING), abs=0.3)
    for one, begin_s in zip(found, begins(EVENING), strict=True):
        assert (one.before, len(one.shocks_s)) == (2, 4)
        assert one.sprint_s == pytest.approx(6.0, abs=0.8)
        assert one.stance_s == pytest.approx(4.0, abs=0.3)
        # Two seconds before the first shock, two behind the last.
        assert one.from_s == pytest.approx(begin_s - 4.0 - 0.9 - 2.0, abs=0.3)
        assert one.to_s == pytest.approx(begin_s + 12.9 + 2.0, abs=0.4)
        assert one.places == (LEFT, RIGHT)


def test_a_run_with_shocks_at_one_end_only_is_sure():
    for run in (
        (*KNOCKS, "stance", "sprint", "glide", "rest"),
        ("stance", "sprint", "glide", "pause", *KNOCKS),
    ):
        kinds = ("skating", "rest", *run, "rest")
        (one,) = sure(found_in(kinds))
        assert one.start_s == pytest.approx(begins(kinds)[0], abs=0.3)
        assert len(one.shocks_s) == 2


def test_a_run_without_shocks_may_be_one_but_is_not_sure():
    kinds = ("skating", "rest", "sprint", "glide", "rest")
    (one,) = [one for one in found_in(kinds) if not one.reason]
    assert (one.is_sure, one.shocks_s) == (False, ())


def test_skating_back_between_runs_takes_none_of_their_shocks():
    # Twelve seconds from a stance to a stop, with the shocks of one run before it and of the next behind it.
    kinds = ("rest", *RUN, "pause", "back", "pause", *RUN, "rest")
    found = found_in(kinds)
    assert [one.start_s for one in sure(found)] == pytest.approx(begins(kinds), abs=0.3)
    assert [len(one.shocks_s) for one in sure(found)] == [4, 4]
    assert [
        one.shocks_s for one in found if one.start_s == pytest.approx(begins(kinds, "back")[0], abs=0.3)
    ] == [()]


def test_a_false_start_is_set_aside_and_the_run_behind_it_found():
    kinds = ("rest", *KNOCKS, "stance", "hop", "pause", "stance", "sprint", "glide", "pause", *KNOCKS, "rest")
    found = found_in(kinds)
    assert [one.start_s for one in sure(found)] == pytest.approx(begins(kinds), abs=0.3)
    aside = [one.reason for one in found if one.start_s == pytest.approx(begins(kinds, "hop")[0], abs=0.3)]
    assert aside in ([], ["moves for 1.5 s only: a false start?"])


def test_a_short_motion_on_its_own_is_told():
    kinds = ("skating", "rest", "hop", "rest")
    (one,) = found_in(kinds)
    assert "a false start?" in one.reason


def test_long_pushing_is_no_sprint_through_gates():
    (one,) = found_in(("rest", *KNOCKS, "stance", "long", "glide", "rest"))
    assert one.reason == "pushes for 25 s: no sprint through gates"


def test_a_foot_that_does_not_move_is_told():
    begin_s = begins(EVENING)[1]
    found = found_in(EVENING, still=[(begin_s - 6.0, begin_s + 14.0)])
    assert [one.start_s for one in sure(found)] == pytest.approx(begins(EVENING)[:1], abs=0.3)
    reasons = [one.reason for one in found if one.start_s == pytest.approx(begin_s, abs=0.3)]
    assert reasons == ["only the left skate begins to move there"]


def test_a_log_that_ends_before_a_run_leaves_it_to_the_other_foot():
    found = sure(found_in(EVENING, until_s=begins(EVENING)[1] - 20.0))
    assert [one.start_s for one in found] == pytest.approx(begins(EVENING), abs=0.3)
    assert [one.places for one in found] == [(LEFT, RIGHT), (LEFT,)]


def test_a_log_that_ends_in_a_run_ends_it():
    until_s = begins(EVENING)[1] + 5.0
    feet = {place: foot(EVENING, place, until_s=until_s) for place in (LEFT, RIGHT)}
    found = sure(find_runs(feet, {LEFT: 0.0, RIGHT: LAG_S}))
    assert [one.start_s for one in found] == pytest.approx(begins(EVENING), abs=0.3)
    assert found[1].stop_s == pytest.approx(until_s, abs=0.3)
    assert (found[1].before, len(found[1].shocks_s)) == (2, 2)


def test_short_holes_at_the_start_hide_no_run():
    begin_s = begins(EVENING)[0]
    found = sure(found_in(EVENING, lost=[(begin_s - 0.3, begin_s + 0.4), (begin_s + 2.0, begin_s + 2.5)]))
    assert [one.start_s for one in found] == pytest.approx(begins(EVENING), abs=0.5)


def test_one_skate_alone_is_enough():
    found = sure(find_runs({LEFT: foot(EVENING, LEFT)}, {LEFT: 0.0}))
    assert [one.start_s for one in found] == pytest.approx(begins(EVENING), abs=0.3)


def test_an_hour_of_rest_more_changes_nothing():
    more = ("rest",) * 20
    one, other = sure(found_in(EVENING)), sure(found_in((*more, *EVENING)))
    for found, later in zip(one, other, strict=True):
        assert later.start_s - 30.0 * len(more) == pytest.approx(found.start_s, abs=0.11)
        assert len(later.shocks_s) == len(found.shocks_s)
