"""What the list says about where runs lie, worked out on paper: runs were found at 100, 200 and 300 s, each of 20 s."""

import warnings

import pytest

from imustride.cutting.finding import Candidate
from imustride.cutting.matching import Wanted, match
from imustride.cutting.said import with_said
from imustride.report.catalogue import catalogue

FOUND = [
    Candidate(
        at_s - 5,
        at_s + 25,
        at_s,
        at_s + 20,
        6.0,
        3.0,
        (at_s - 4, at_s + 24),
        1,
        ("left_skate", "right_skate"),
    )
    for at_s in (100.0, 200.0, 300.0)
]


def test_what_is_said_takes_the_run_inside_or_stands_by_itself():
    found, said, problems = with_said(FOUND, {2: (90.0, 130.0), 3: (140.0, 160.0)}, 2.0)
    assert problems == []
    assert [one.start_s for one in found] == [100.0, 140.0, 200.0, 300.0]
    assert said == {2: 0, 3: 1}
    assert (found[0].from_s, found[0].to_s) == (90.0, 130.0)


OVERLAP = {2: (90.0, 130.0), 3: (120.0, 150.0), 4: (290.0, 330.0)}
AGAINST = {2: (190.0, 230.0), 3: (90.0, 130.0), 4: (290.0, 330.0)}
TWICE = {2: (90.0, 130.0), 3: (90.0, 130.0), 4: (290.0, 330.0)}


@pytest.mark.parametrize(
    ("spans_s", "numbers", "how", "french"),
    [
        (OVERLAP, "90 to 130 and 120 to 150", "overlap", "se chevauchent"),
        (AGAINST, "190 to 230 and 90 to 130", "run against the order of their times", "vont contre l'ordre"),
        (TWICE, "90 to 130 and 90 to 130", "overlap", "se chevauchent"),
    ],
)
def test_lines_that_contradict_each_other_are_named_and_not_taken(spans_s, numbers, how, french):
    found, said, (problem,) = with_said(FOUND, spans_s, 2.0)
    assert problem == (
        f"lines 2 and 3: their start_s and end_s ({numbers}) {how}, and are not taken; wanted a part of the log for each, "
        "in order of time; correct them"
    )
    assert french in catalogue("fr").reason(problem)
    assert said == {4: 2}
    wanted = [Wanted(60.0 * line, None, said.get(line)) for line in spans_s]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        matches = match(wanted, found, has_seconds=True)
    assert matches[2].candidate == 2


def test_what_blocks_cannot_tell_apart_is_no_contradiction():
    _, said, problems = with_said(FOUND, {2: (90.0, 150.0), 3: (148.5, 230.0)}, 2.0)
    assert (said, problems) == ({2: 0, 3: 1}, [])
    # The run at 100 s lies in both spans: the first line has it, and what the second says alone would come before it.
    _, said, problems = with_said(FOUND, {2: (90.0, 100.5), 3: (99.0, 130.0)}, 2.0)
    assert said == {}
    assert len(problems) == 1
