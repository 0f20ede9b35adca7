"""Gate times on the page: best, mean, sections, and what light beams cannot tell."""

import dataclasses

import numpy as np
import pytest

from imustride.kinematics import Gates
from imustride.report.amounts import Amounts
from imustride.report.catalogue import catalogue
from imustride.report.timing import BEAM_SD_S, no_time, time_blocks, timed

SAY = catalogue("en")
PLACES_M = np.array([0.0, 5.0, 10.0, 20.0])


def with_gates(result, times_s, places_m=PLACES_M, **of_run):
    """Give each run the passing times of its gates; every run counts."""
    runs = tuple(
        dataclasses.replace(run, gates=Gates(places_m, np.array(times)), usable=True, reason="", **of_run)
        for run, times in zip(result.runs, times_s, strict=True)
    )
    table = result.runs_table.assign(
        gate_time_s=[times[-1] - times[0] for times in times_s], usable=True, reason=""
    )
    return dataclasses.replace(result, runs=runs, runs_table=table)


# Sections: 1.2 0.8 1.3 | 1.4 0.8 1.3 | 1.4 0.9 1.3; totals 3.3, 3.5, 3.6; sections' means of the others 1.4 0.85 1.3.
TIMES_S = ([0, 1.2, 2.0, 3.3], [0, 1.4, 2.2, 3.5], [0, 1.4, 2.3, 3.6])


def test_best_mean_and_spread(result):
    (block,) = time_blocks(with_gates(result, TIMES_S), Amounts(SAY))
    said = block["line"].replace("\N{NO-BREAK SPACE}", " ")
    # Standard deviation of 3.3, 3.5, 3.6: root of (0.02778 + 0.00111 + 0.01778) / 2 = 0.1528.
    assert said == "Best 3.30 s (run-1); mean 3.47 s; runs differ by 0.15 s (SD); 3 runs count"
    assert block["gates"].replace("\N{NO-BREAK SPACE}", " ") == "Gates at 0, 5, 10 and 20 m"


def test_the_layout_of_most_runs_comes_first(result):
    made = with_gates(result, TIMES_S)
    other = dataclasses.replace(made.runs[0], gates=Gates(PLACES_M[:3], np.array([0, 1.2, 2.0])))
    found = timed(dataclasses.replace(made, runs=(other, *made.runs[1:])))
    assert [one.runs for one in found] == [("run-2", "run-3"), ("run-1",)]


def test_sections(result):
    (block,) = time_blocks(with_gates(result, TIMES_S), Amounts(SAY))
    rows = [[cell.replace("\N{NO-BREAK SPACE}", " ") for cell in row] for row in block["sections"]]
    assert rows == [
        ["0 to 5 m", "1.20 s", "1.33 s", "0.12 s", "3"],
        ["5 to 10 m", "0.80 s", "0.83 s", "0.06 s", "3"],
        ["10 to 20 m", "1.30 s", "1.30 s", "0.00 s", "3"],
        ["whole", "3.30 s", "3.47 s", "0.15 s", "3"],
    ]


def test_the_section_that_gains_most_must_stand_out_of_the_beams(result):
    (one,) = timed(with_gates(result, TIMES_S))
    # Two beams of the run, two of the mean of two others: 1.96 x 0.042 s x root of 2 (1 + 1/2) = 0.1426 s.
    assert one.seen_s(2) == pytest.approx(0.1426, abs=1e-4)
    where, amount_s = one.gained()
    assert (where, amount_s) == (0, pytest.approx(0.2))
    near = ([0, 1.27, 2.07, 3.37], *TIMES_S[1:])  # 0.13 s gained
    assert timed(with_gates(result, near))[0].gained() is None


def test_two_gates_have_no_sections(result):
    there = with_gates(result, ([0, 3.3], [0, 3.5], [0, 3.6]), np.array([0.0, 20.0]))
    (one,) = timed(there)
    assert one.gained() is None
    assert len(time_blocks(there, Amounts(SAY))[0]["sections"]) == 0


def test_one_run_has_no_mean(result):
    three = with_gates(result, TIMES_S)
    one = dataclasses.replace(three, runs=three.runs[:1], runs_table=three.runs_table.head(1))
    (block,) = time_blocks(one, Amounts(SAY))
    assert block["line"].replace("\N{NO-BREAK SPACE}", " ") == "Best 3.30 s (run-1); 1 run counts"
    assert block["sections"][0][2:] == ("–", "–", "1")


def test_only_equal_gates_are_averaged(result):
    three = with_gates(result, TIMES_S)
    other = dataclasses.replace(three.runs[2], gates=Gates(1.5 * PLACES_M, three.runs[2].gates.time_s))
    mixed = dataclasses.replace(three, runs=(*three.runs[:2], other))
    assert [one.runs for one in timed(mixed)] == [("run-1", "run-2"), ("run-3",)]


def test_runs_that_do_not_count_have_no_say(result):
    three = with_gates(result, TIMES_S)
    spoiled = dataclasses.replace(three.runs[0], usable=False, reason="a stumble")
    assert timed(dataclasses.replace(three, runs=(spoiled, *three.runs[1:])))[0].runs == ("run-2", "run-3")


def test_why_there_is_no_time(result):
    assert no_time(result, Amounts(SAY)) == "No time counts: none of the timed runs does."
    bare = dataclasses.replace(result, runs_table=result.runs_table.assign(gate_time_s=np.nan))
    assert no_time(bare, Amounts(SAY)) == "No time was taken: there were no timing gates."


def test_the_beams_are_those_of_the_source():
    # Earp and Newton 2012: standard deviations of 12 to 42 ms; the page names the same two.
    assert BEAM_SD_S == 0.042
    assert "12 to 42 ms" in SAY("times.noise")
