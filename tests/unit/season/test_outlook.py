"""How many more sessions would tell."""

import numpy as np

from imustride.season.change import changes
from imustride.season.levels import session_levels
from imustride.season.outlook import sessions_needed
from tests.unit.season.test_change import season

ONE = 1


def needed(*courses, smallest=float("nan"), most=8, athlete="A0"):
    levels = session_levels(season(*courses))
    change = changes("m", levels, smallest, ONE)[athlete]
    return sessions_needed(levels, change, ONE, most)


def test_below_four_sessions_the_missing_ones():
    assert [needed([0.0] * n) for n in (1, 2, 3)] == [3, 2, 1]


def test_a_step_that_just_began_needs_a_few_and_more_where_it_is_smaller():
    noise = np.array([0.3, -0.4, 0.1, -0.2, 0.4, -0.1, 0.2, -0.3])
    large, small = (needed(noise + step * (np.arange(8) >= 6), most=20) for step in (1.0, 0.8))
    assert 1 <= large < small


def test_nothing_tells_where_nothing_changes_and_nobody_knows_what_matters():
    assert needed([0.3, -0.4, 0.1, -0.2, 0.4, -0.1, 0.2, -0.3]) is None


def test_a_change_that_matters_is_excluded_by_more_sessions_of_the_same():
    course = [0.3, -0.4, 0.1, -0.2, 0.4, -0.1, 0.2, -0.3]
    found = needed(course, smallest=1.35, most=20)
    assert found is not None
    longer = [*course, *([0.1, -0.1] * found)]
    assert changes("m", session_levels(season(longer)), 1.35, ONE)["A0"].verdict == "no change that matters"


def test_sessions_that_do_not_scatter_promise_nothing():
    assert needed([1.0] * 6) is None


def test_the_correction_counts():
    noise = np.array([0.3, -0.4, 0.1, -0.2, 0.4, -0.1, 0.2, -0.3]) + 1.0 * (np.arange(8) >= 6)
    levels = session_levels(season(noise))
    change = changes("m", levels, float("nan"), 6)["A0"]
    one, six = (sessions_needed(levels, change, metrics, 20) for metrics in (1, 6))
    assert 1 <= one < six
