"""Runs found in a log against the lines of a list: worked out by hand, with the costs of the settings."""

from itertools import pairwise, product

import numpy as np
import pytest

from imustride.cutting.finding import Candidate
from imustride.cutting.matching import Match, MatchingSettings, Wanted, match


def run(start_s, sprint_s=6.9, *, sure=True):
    shocks_s = (start_s - 6.0, start_s - 5.2) if sure else ()
    return Candidate(
        start_s - 8.0, start_s + 12.0, start_s, start_s + sprint_s + 3.0, sprint_s, 4.0, shocks_s,
        len(shocks_s), ("left_skate", "right_skate"),
    )  # fmt: skip


def lines(*at_s, gate_time_s=5.0):
    return [Wanted(time_s, gate_time_s) for time_s in at_s]


def candidates(matches):
    return [one.candidate for one in matches]


def test_as_many_runs_as_lines_go_in_order_whatever_the_offset_of_the_clocks():
    found = [run(100.0), run(290.0), run(520.0)]
    assert candidates(match(lines(0, 200, 420), found, has_seconds=False)) == [0, 1, 2]


def test_an_evening_that_lags_behind_its_list_is_still_in_order():
    # Gaps of 340 s where 120 s were planned: the most that a gap costs is 9, less than leaving both over, 28.
    found = [run(100.0 + 340.0 * number) for number in range(4)]
    assert candidates(match(lines(0, 120, 240, 360), found, has_seconds=False)) == [0, 1, 2, 3]


def test_a_line_too_many_stays_over_where_the_gaps_tell_which():
    found = [run(100.0), run(400.0), run(500.0)]
    assert candidates(match(lines(0, 150, 300, 400), found, has_seconds=True)) == [0, None, 1, 2]


def test_a_run_too_many_stays_over_where_the_gaps_tell_which():
    found = [run(100.0), run(250.0), run(400.0), run(500.0)]
    assert candidates(match(lines(0, 300, 400), found, has_seconds=True)) == [0, 2, 3]


def test_what_may_be_either_is_no_match_but_a_choice():
    # Every two minutes: the run that is not on the list may be the first or the last.
    found = [run(100.0), run(220.0), run(340.0)]
    assert match(lines(0, 120), found, has_seconds=True) == [Match(None, (0, 1)), Match(None, (1, 2))]


def test_the_gate_time_tells_what_the_gaps_do_not():
    found = [run(100.0, 6.9), run(220.0, 10.9), run(340.0, 6.9)]
    wanted = [Wanted(0.0, 5.0), Wanted(120.0, 9.0)]
    assert candidates(match(wanted, found, has_seconds=True)) == [0, 1]


def test_skaters_who_push_on_for_long_are_not_shifted_by_one_run():
    # Evenly planned and skated, seventy runs of two skaters: what comes again in every run adds up to nothing.
    found = [run(100.0 + 150.0 * number, 6.9 if number % 2 else 8.9) for number in range(70)]
    wanted = [Wanted(150.0 * number, 4.1 if number % 2 else 5.2) for number in range(70)]
    assert candidates(match(wanted, found, has_seconds=False)) == list(range(70))


def test_a_line_that_is_said_settles_the_others():
    found = [run(100.0), run(220.0), run(340.0)]
    wanted = [Wanted(0.0, 5.0, candidate=1), Wanted(120.0, 5.0)]
    assert candidates(match(wanted, found, has_seconds=True)) == [1, 2]


def test_no_run_is_shorter_than_its_gate_time():
    assert match(lines(0, gate_time_s=11.0), [run(100.0)], has_seconds=True) == [Match(None)]


def test_a_motion_without_shocks_is_passed_over():
    found = [run(100.0), run(160.0, sure=False), run(300.0)]
    assert candidates(match(lines(0, 200), found, has_seconds=True)) == [0, 2]


def test_a_run_without_shocks_is_taken_where_its_time_fits():
    found = [run(100.0), run(300.0, sure=False), run(500.0)]
    assert candidates(match(lines(0, 200, 400), found, has_seconds=True)) == [0, 1, 2]


def test_a_motion_without_shocks_at_another_time_is_no_run_of_either_line():
    # Both matched: 3 without shocks, 25 for the gap. One line over, either: 16.
    found = [run(100.0), run(160.0, sure=False)]
    assert candidates(match(lines(0, 200), found, has_seconds=True)) == [None, None]


def test_no_lines_and_no_runs():
    assert match([], [run(1.0)], has_seconds=True) == []
    assert match(lines(0), [], has_seconds=True) == [Match(None)]


def cost_of(way, wanted, found):
    """Cost of a way, written down from the docstring: pairs, gaps, what stays over."""
    settings = MatchingSettings()
    cost = settings.line_over * way.count(None)
    cost += sum(settings.run_over for at, one in enumerate(found) if one.is_sure and at not in way)
    pairs = [(wanted[line], found[at]) for line, at in enumerate(way) if at is not None]
    for one, its in pairs:
        if its.stop_s - its.start_s < one.gate_time_s:
            return np.inf
        push_on_s = its.sprint_s - one.gate_time_s
        outside_s = max(settings.push_on_s[0] - push_on_s, push_on_s - settings.push_on_s[1], 0.0)
        cost += min((outside_s / settings.push_on_sd_s) ** 2, settings.most)
        cost += 0.0 if its.is_sure else settings.no_shocks
    for (one, its), (later, theirs) in pairwise(pairs):
        gap_s = (theirs.start_s - its.start_s) - (later.at_s - one.at_s)
        most = settings.most if its.is_sure and theirs.is_sure else settings.most_without_shocks
        cost += min((gap_s / settings.gap_seconds_sd_s) ** 2, most)
    return cost


@pytest.mark.parametrize("seed", range(40))
def test_every_way_tried_one_by_one_says_the_same(seed):
    rng = np.random.default_rng(seed)
    found = [
        run(at_s, rng.uniform(5, 12), sure=rng.random() < 0.8)
        for at_s in np.sort(rng.uniform(0, 600, rng.integers(1, 6)))
    ]
    wanted = [Wanted(at_s, rng.uniform(4, 8)) for at_s in np.sort(rng.uniform(0, 600, rng.integers(1, 5)))]
    ways = []
    for way in product([None, *range(len(found))], repeat=len(wanted)):
        taken = [at for at in way if at is not None]
        if taken == sorted(set(taken)):
            ways.append((cost_of(way, wanted, found), way))
    best, cheapest = min(ways, key=lambda one: one[0])
    expected = []
    for line, at in enumerate(cheapest):
        other = min((cost for cost, way in ways if way[line] != at), default=np.inf)
        expected.append(at if other - best >= MatchingSettings().guess else None)
    assert candidates(match(wanted, found, has_seconds=True)) == expected
