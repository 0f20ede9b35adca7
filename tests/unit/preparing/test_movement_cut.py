"""Movements in the logs of runs, on a cut made on paper: the clock of the shank is 540 s ahead of the picture, later 541 s."""

import re

import numpy as np
import pytest

from imustride.cutting.matching import Match
from imustride.cutting.survey import BLOCK_S, Blocks
from imustride.long_logs import CutGroup, CutLine, DayCut
from imustride.movement_cut import place_movements
from imustride.preparing.plan import plan_day
from imustride.report.catalogue import catalogue
from imustride.session import Sensor
from imustride.surveying import LongLog

PLACES = ("left_skate", "right_skate", "left_shank")
HEADER = "date,time,athlete,consent,run,left_skate_device,right_skate_device,left_shank_device,start_s,end_s"
ENGLISH = re.compile(r"\b(?:the|of|in|where|wanted|lies|line|correct|write|does|not)\b")
FOUND = {
    "run-1": {"left_skate": (100.0, 120.0), "left_shank": (640.0, 660.0)},
    "run-2": {"left_skate": (200.0, 225.0), "left_shank": (741.0, 766.0)},
}


@pytest.fixture
def place(roster, kit, tmp_path):
    """Plan movements and two runs in one log a sensor, and place the movements; gives spans and problems."""

    def call(*moved, found=FOUND, blocks=None):
        lines = [f"2026-10-03,{when},A07,self,{run},S041,S042,S043,{cut}" for run, when, cut in moved]
        lines += [
            f"2026-10-03,18:{minute},A07,self,run-{n},S041,S042,S043,," for n, minute in ((1, "05"), (2, 15))
        ]
        plan = plan_day(roster(*lines, header=HEADER), kit, None)
        assert plan.problems == ()
        (session,) = plan.sessions
        logs = {
            entry.row.line: {
                place: LongLog(tmp_path / f"{place}.h5", None, Sensor(place=place)) for place in PLACES
            }
            for entry in session.recordings
        }
        cut_lines = tuple(
            CutLine(run.row, Match(number), found[run.row.run]) for number, run in enumerate(session.runs)
        )
        group = CutGroup({"left_skate": "left_skate.h5"}, blocks or {}, {}, (), (), cut_lines)
        return place_movements("list.csv", plan, DayCut((group,), (), ()), logs)

    return call


def test_the_nearest_run_joins_the_clocks(place):
    spans, _ = place(("movements", "18:00", "10,40"), ("movements-2", "18:14", "150,180"))
    assert spans[2] == {"left_skate": (10.0, 40.0), "left_shank": (550.0, 580.0)}
    assert spans[3] == {"left_skate": (150.0, 180.0), "left_shank": (691.0, 721.0)}


def test_a_sensor_that_no_run_joins_is_told(place):
    spans, problems = place(("movements", "18:00", "10,40"))
    assert list(spans[2]) == ["left_skate", "left_shank"]
    assert problems == [
        (
            "list.csv, line 2, A07 movements: not at right_skate: no run shows how the clock of right_skate.h5 goes with "
            "that of the picture; write '-' as its file, or correct the list"
        )
    ]


@pytest.mark.parametrize("cut", [",", "10,", ",40"])
def test_without_begin_and_end_they_are_asked_for(place, cut):
    spans, (problem,) = place(("movements", "18:00", cut))
    assert spans == {2: {}}
    assert "wanted its start_s and end_s in the list, in seconds of the picture" in problem


def test_a_run_in_the_same_part_is_told(place):
    _, problems = place(("movements", "18:00", "90,105"))
    assert [problem for problem in problems if "same part" in problem] == [
        (
            "list.csv, line 2, A07 movements: A07 run-1 of line 3 lies in the same part of left_skate.h5, near 100 s; "
            "wanted a part of the log for each; correct start_s and end_s"
        )
    ]
    _, problems = place(("movements", "18:00", "90,101"))  # what runs keep around them
    assert not any("same part" in problem for problem in problems)


def test_movements_in_the_same_part_are_told(place):
    _, problems = place(("movements", "18:00", "10,40"), ("movements-2", "18:02", "30,60"))
    assert [problem for problem in problems if "both would be cut" in problem] == [
        f"list.csv, lines 2 and 3: both would be cut out of {log} near {at_s} s; wanted a part of the log for each; "
        "correct start_s and end_s"
        for log, at_s in (("left_skate.h5", 30), ("left_shank.h5", 570))
    ]
    _, problems = place(("movements", "18:00", "10,40"), ("movements-2", "18:02", "40,60"))
    assert not any("both would be cut" in problem for problem in problems)


def test_a_span_that_a_log_does_not_reach_is_told(place):
    count = round(300.0 / BLOCK_S)
    flat, rates = np.zeros(count), np.zeros((count, 3))
    blocks = Blocks(
        600.0, np.ones(count, dtype=np.intp), rates, rates.copy(), rates.copy(), flat, flat.copy()
    )
    spans, problems = place(("movements", "18:00", "10,40"), blocks={"left_shank": blocks})
    assert list(spans[2]) == ["left_skate"]
    assert any("not at left_shank: left_shank.h5 does not reach there" in problem for problem in problems)


def test_what_is_wrong_is_put_into_french(place):
    said = [problem for cut in ("90,105", ",") for problem in place(("movements", "18:00", cut))[1]]
    assert len(said) == 3
    for sentence in said:
        french = catalogue("fr").reason(sentence)
        assert ENGLISH.findall(french) == [], french
        assert "ligne 2, A07 movements" in french
