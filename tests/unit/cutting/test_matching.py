"""Runs found in a log against the lines of a list: worked out by hand, with the costs of the settings."""

from itertools import accumulate, pairwise, product

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
    # Gaps of 340 s where 120 s were planned: the times tell nothing, the order does.
    found = [run(100.0 + 340.0 * number) for number in range(4)]
    matches = match(lines(0, 120, 240, 360), found, has_seconds=False)
    assert matches == [Match(place, by_order=True) for place in range(4)]


def test_times_that_tell_nothing_do_not_tell_which_line_stays_over():
    # As many gaps of 340 s as before, one run less: any line may be the one without. A motion without shocks is none.
    found = [run(100.0), run(440.0), run(610.0, sure=False), run(780.0)]
    matches = match(lines(0, 120, 240, 360), found, has_seconds=True)
    assert [(one.candidate, one.by_order) for one in matches] == [(None, True)] * 4


def test_a_line_and_a_run_over_are_no_reason_to_shift_what_lies_between():
    # Nobody ran for the first line, and somebody behind the last: a line and a run stay over (14). Shifted by one, gaps are
    # 10, 30 and 45 s out (13), or may be as they like (9). Nothing is sure.
    found = [run(at_s) for at_s in (150.0, 290.0, 460.0, 675.0)]
    assert candidates(match(lines(0, 150, 290, 460), found, has_seconds=True)) == [None] * 4
    # In a longer evening shifting every pair is dear, however it is explained.
    at_s = np.cumsum(np.random.default_rng(4).uniform(100, 260, 24))
    found = [*map(run, at_s[1:]), run(at_s[-1] + 150.0)]
    assert candidates(match(lines(*at_s), found, has_seconds=True)) == [None, *range(23)]


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
    # As the second and third run the lines would be 3.4 s too long, 2.1 s too short: 16.
    found = [run(100.0, 6.9), run(220.0, 12.9), run(340.0, 6.9)]
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


def test_a_run_without_shocks_is_asked_about_where_its_time_fits():
    # Taken: 5, and no gap is out. Not taken, its line stays over: 7.
    found = [run(100.0), run(300.0, sure=False), run(500.0)]
    expected = [Match(0), Match(None, (1,)), Match(2)]
    assert match(lines(0, 200, 400), found, has_seconds=True) == expected


def test_a_motion_without_shocks_at_another_time_is_no_run_of_either_line():
    # Both matched: 5 without shocks, 25 for the gap. One line over, either: 7.
    found = [run(100.0), run(160.0, sure=False)]
    assert candidates(match(lines(0, 200), found, has_seconds=True)) == [None, None]


def test_no_lines_and_no_runs():
    assert match([], [run(1.0)], has_seconds=True) == []
    assert match(lines(0), [], has_seconds=True) == [Match(None)]


SETTINGS = MatchingSettings()


def cost_of_pair(one, its):
    """Cost of a pair, written down from the docstring."""
    cost = 0.0 if its.is_sure else SETTINGS.no_shocks
    if one.gate_time_s is None:
        return cost
    if its.stop_s - its.start_s < one.gate_time_s:
        return np.inf
    push_on_s = its.sprint_s - one.gate_time_s
    outside_s = max(SETTINGS.push_on_s[0] - push_on_s, push_on_s - SETTINGS.push_on_s[1], 0.0)
    return cost + min((outside_s / SETTINGS.push_on_sd_s) ** 2, SETTINGS.most)


def cost_of_gap(one, its, later, theirs, sd_s=SETTINGS.gap_seconds_sd_s):
    """Cost of a gap; without a standard deviation the times of the list tell nothing."""
    if sd_s is None:
        return SETTINGS.any_gap
    gap_s = (theirs.start_s - its.start_s) - (later.at_s - one.at_s)
    most = SETTINGS.most if its.is_sure and theirs.is_sure else SETTINGS.most_without_shocks
    return min((gap_s / sd_s) ** 2, most)


def cost_of(way, wanted, found, sd_s):
    """Cost of a way: pairs, gaps, what stays over."""
    cost = SETTINGS.timeless if sd_s is None else 0.0
    if sd_s is None and not all(at is None or found[at].is_sure for at in way):
        return np.inf
    cost += SETTINGS.line_over * way.count(None)
    cost += sum(SETTINGS.run_over for at, one in enumerate(found) if one.is_sure and at not in way)
    pairs = [(wanted[line], found[at]) for line, at in enumerate(way) if at is not None]
    cost += sum(cost_of_pair(*pair) for pair in pairs)
    return cost + sum(cost_of_gap(*pair, *after, sd_s) for pair, after in pairwise(pairs))


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
            ways += [(cost_of(way, wanted, found, sd_s), way) for sd_s in (SETTINGS.gap_seconds_sd_s, None)]
    best, cheapest = min(ways, key=lambda one: one[0])
    expected = []
    for line, at in enumerate(cheapest):
        other = min((cost for cost, way in ways if way[line] != at), default=np.inf)
        expected.append(at if other - best >= SETTINGS.guess else None)
    assert candidates(match(wanted, found, has_seconds=True)) == expected


def cheapest(wanted, found, allowed, sd_s):
    """Lowest cost of ways in which each line has what it is allowed, None or runs: from every pair to every later one."""
    said = {one.candidate for one in wanted}
    runs_over = [0.0, *accumulate(SETTINGS.run_over if one.is_sure else 0.0 for one in found)]

    def over(line, to_line, run, to_run):
        if any(None not in may for may in allowed[line:to_line]):
            return np.inf
        return SETTINGS.line_over * (to_line - line) + runs_over[to_run] - runs_over[run]

    ends = {}
    timeless = SETTINGS.timeless if sd_s is None else 0.0
    best = over(0, len(wanted), 0, len(found)) + timeless
    for line, run in product(range(len(wanted)), range(len(found))):
        if run not in allowed[line] or (sd_s is None and not found[run].is_sure and run not in said):
            continue
        came = [over(0, line, 0, run) + timeless]
        came += [
            cost
            + cost_of_gap(wanted[other], found[at], wanted[line], found[run], sd_s)
            + over(other + 1, line, at + 1, run)
            for (other, at), cost in ends.items()
            if other < line and at < run
        ]
        ends[line, run] = min(came) + cost_of_pair(wanted[line], found[run])
        best = min(best, ends[line, run] + over(line + 1, len(wanted), run + 1, len(found)))
    return best


def random_day(rng):
    """Up to eight lines and nine runs, late and early, some without shocks, without gates, on the minute or said."""
    count, said = int(rng.integers(2, 9)), None
    at_s = np.cumsum(rng.uniform(20, 150, count))
    start_s = at_s * rng.uniform(0.8, 1.6) + rng.normal(0, rng.choice([2.0, 30.0]), count)
    start_s = np.sort(np.append(start_s[rng.random(count) < 0.9], rng.uniform(0, 900, rng.integers(0, 2))))
    found = [run(float(one), float(rng.uniform(5, 12)), sure=rng.random() < 0.7) for one in start_s]
    if rng.random() < 0.5:
        at_s = 60.0 * np.floor(at_s / 60.0)
    if found and rng.random() < 0.3:
        said = (int(rng.integers(count)), int(rng.integers(len(found))))
    gates_s = [None if rng.random() < 0.1 else float(rng.uniform(4, 8)) for _ in at_s]
    wanted = [
        Wanted(float(one), gate_s, said[1] if said and said[0] == line else None)
        for line, (one, gate_s) in enumerate(zip(at_s, gates_s, strict=True))
    ]
    return wanted, found


@pytest.mark.parametrize("seed", range(60))
def test_a_day_too_long_for_every_way_is_matched_by_every_pair(seed, monkeypatch):
    """Each line is given each of its runs in turn, and none; limits of time and memory are made tight."""
    for name, count in (("NEAR", 1), ("TOGETHER", 2), ("AT_ONCE", 3)):
        monkeypatch.setattr(f"imustride.cutting.ways.{name}", count)
    rng = np.random.default_rng(1000 + seed)
    wanted, found = random_day(rng)
    has_seconds = bool(rng.random() < 0.5)
    sd_s = SETTINGS.gap_seconds_sd_s if has_seconds else SETTINGS.gap_sd_s
    free = {None, *range(len(found))} - {one.candidate for one in wanted if one.candidate is not None}
    anything = [free if one.candidate is None else {one.candidate} for one in wanted]
    for line, one in enumerate(match(wanted, found, has_seconds=has_seconds)):
        costs = {
            at: min(
                cheapest(wanted, found, [*anything[:line], {at}, *anything[line + 1 :]], sd)
                for sd in (sd_s, None)
            )
            for at in anything[line]
        }
        best, *others = sorted(costs.values())
        if others and others[0] - best < SETTINGS.guess:
            assert one.candidate is None
            assert one.choices
            assert all(costs[at] - best < SETTINGS.guess for at in one.choices)
        else:
            assert (costs[one.candidate], one.choices) == (best, ())


def weekend(rng, lines=500, motions=120):
    """Lines with the place of their run in what was found, None for one in twenty; some motions without shocks."""
    at_s = np.cumsum(rng.uniform(60, 200, lines))
    gates_s = rng.uniform(4, 6.5, lines)
    there = np.flatnonzero(rng.random(lines) < 0.95)
    found = [
        (run(at_s[line] + rng.normal(0, 2), gates_s[line] + rng.uniform(0.3, 4.5)), line) for line in there
    ]
    found += [(run(rng.uniform(0, at_s[-1]), sure=False), None) for _ in range(motions)]
    found.sort(key=lambda one: one[0].start_s)
    places = {line: place for place, (_, line) in enumerate(found)}
    wanted = [Wanted(float(at), float(gate_s)) for at, gate_s in zip(at_s, gates_s, strict=True)]
    return wanted, [one for one, _ in found], [places.get(line) for line in range(lines)]


def test_a_weekend_is_matched_rightly():
    wanted, found, places = weekend(np.random.default_rng(1))
    matches = match(wanted, found, has_seconds=True)
    decided = [
        (one.candidate, place)
        for one, place in zip(matches, places, strict=True)
        if one.candidate is not None
    ]
    assert len(decided) > 450
    assert all(candidate == place for candidate, place in decided)


@pytest.mark.parametrize("has_seconds", [True, False])
def test_what_saves_time_changes_nothing(has_seconds, monkeypatch):
    wanted, found, _ = weekend(np.random.default_rng(2), 60, 30)
    expected = match(wanted, found, has_seconds=has_seconds)
    for counts in ((1, 1, 1), (1000, 1000, 1000)):
        for name, count in zip(("NEAR", "TOGETHER", "AT_ONCE"), counts, strict=True):
            monkeypatch.setattr(f"imustride.cutting.ways.{name}", count)
        assert match(wanted, found, has_seconds=has_seconds) == expected
