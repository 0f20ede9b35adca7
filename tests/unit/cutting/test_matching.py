"""Runs found in a log against the lines of a list: worked out by hand, with the costs of the settings."""

from imustride.cutting.finding import Candidate
from imustride.cutting.matching import Match, Wanted, match


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
