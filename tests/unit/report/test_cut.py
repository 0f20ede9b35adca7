"""The page of a cut: what is counted, what is copied as it stands, and the analysis' own sentences in French."""

import datetime as dt
import os
import re
import subprocess
from dataclasses import replace

import numpy as np
import pytest

from imustride.cut_page import command_text, cut_group, windows_quoted
from imustride.cutting import finding
from imustride.cutting.finding import Candidate
from imustride.cutting.matching import Match
from imustride.cutting.skates import FindingSettings
from imustride.cutting.survey import Blocks
from imustride.day import DayFiles, Prepared, write_cut
from imustride.long_logs import CutGroup, CutLine, DayCut, _group_notes, _group_problems, twice
from imustride.preparing.roster import Row
from imustride.report.catalogue import catalogue
from imustride.report.cut import Seen, in_short
from imustride.report.cut_picture import Lane, cut_sheets, thinned
from imustride.surveying import LongLog

BEGIN = dt.datetime(2026, 10, 3, 18, 0)  # noqa: DTZ001 - the list's clock has no zone
ENGLISH = re.compile(
    r"\b(the|run|line|lines|and|or|of|with|wanted|give|correct|add|remove|pushes|moves|shocks?)\b"
)


def row(line, start_s=None):
    gates = ((0.0, 0.0), (30.48, 5.25))
    end_s = None if start_s is None else start_s + 20.0
    return Row(
        line, BEGIN, BEGIN, "A07", f"run-{line}", {}, {}, gates, None, None, None, None, start_s, end_s
    )


def run(start_s, shocks=4, reason=""):
    at_s = (start_s - 5.0, start_s - 4.5, start_s + 15.0, start_s + 15.5)[:shocks]
    places = ("left_skate", "right_skate")
    return Candidate(
        start_s - 7.0, start_s + 17.5, start_s, start_s + 12.0, 6.5, 4.25, at_s, 2, places, reason
    )


@pytest.fixture
def group():
    """Line 2 matched, 3 not decided between two, 4 without a run, 5 said by the list, 6 without shocks; one run over."""
    found = (
        run(100.0),
        run(200.0),
        run(300.0),
        run(400.0),
        run(500.0),
        run(600.0, shocks=0),
        run(700.0, shocks=0),
    )
    aside = (run(50.0, reason="moves for 3.2 s only: a false start?"),)
    lines = (
        CutLine(
            row(2), Match(0), {"left_skate": (93.0, 117.5)}, {"pelvis": "pelvis.1.h5 does not show the run"}
        ),
        CutLine(row(3), Match(None, (1, 2))),
        CutLine(row(4), Match(None)),
        CutLine(row(5, 495.0), Match(4), {"left_skate": (495.0, 515.0)}),
        CutLine(row(6), Match(5), {"left_skate": (512.0, 617.5)}),
    )
    return CutGroup({"left_skate": "left_1.5.h5"}, {}, {}, found, aside, lines)


def test_every_line_and_everything_found_is_shown_once(group):
    shown = cut_group(group)
    assert [one.found for one in shown.rows] == ["found", "unclear", "none", "said", "found"]
    assert [one.seen.mark for one in shown.rows if one.seen] == ["2", "5", "6"]
    assert [(one.mark, one.start_s, one.lines) for one in shown.others] == [
        ("?", 200.0, (3,)),
        ("?", 300.0, (3,)),
        ("+", 400.0, ()),
    ]
    assert [(one.start_s, one.reason) for one in shown.aside] == [
        (50.0, "moves for 3.2 s only: a false start?"),
        (700.0, "a motion without shocks"),
    ]
    assert sorted((span.kind, span.label) for span in shown.spans) == [
        ("aside", ""),
        ("aside", ""),
        ("guess", "?"),
        ("guess", "?"),
        ("over", "+"),
        ("run", "2"),
        ("run", "5"),
        ("run", "6"),
    ]
    # On paper: gates 5.25 s apart; cut from 7 s before the motion to 17.5 s behind its begin; two shocks at each end.
    assert (shown.rows[0].time, shown.rows[0].gate_time_s) == ("18:00", 5.25)
    assert shown.rows[0].seen == Seen("2", 93.0, 117.5, 100.0, 6.5, 4.25, 2, 2)


def test_the_answer_counts_lines_and_runs(group):
    say = catalogue("en")
    shown = cut_group(group)
    assert in_short([shown], say) == [
        "Lines of the list that have their run: 3 of 5.",
        "1 line is not decided: its run may be one of several.",
        "1 line has no run in the logs.",
        "1 run in the logs is on no line.",
        "1 line lacks a sensor that the list names.",
    ]
    good = replace(shown, rows=(shown.rows[3], shown.rows[4]), others=())
    assert in_short([good, good], say) == ["All 4 lines of the list have their run."]


def sentences(group):
    log = LongLog(path=None, group=None, sensor=None)
    cut = [(line.row, line.spans_s) for line in group.lines]
    crossed = twice("list.csv", cut, {line.row.line: {"left_skate": log} for line in group.lines})
    made = finding._Motion(
        10.0, 20.0, 6.0, 4.0, ((0.0, 10.0), (20.0, 30.0)), (np.array([]), np.array([])), (), ""
    )
    changes = ({"stop_s": 12.0}, {"sprint_s": 1.0}, {"sprint_s": 90.0}, {"stop_s": 400.0})
    reasons = [finding._reason(replace(made, **change), FindingSettings()) for change in changes]
    assert all(reasons)
    return [
        *_group_problems("list.csv", group),
        *_group_notes("list.csv", group),
        *crossed,
        *reasons,
        "only the left skate begins to move there",
        *(one.reason for one in cut_group(group).aside),
    ]


def test_the_sentences_of_the_cut_are_put_into_french(group):
    said = sentences(group)
    assert len(said) == 13
    for sentence in said:
        french = catalogue("fr").reason(sentence)
        assert ENGLISH.findall(re.sub(r"run-\d", "", french)) == []
        for written in re.findall(r"list\.csv|left_1\.5\.h5|pelvis\.1\.h5|run-\d|\b\d{3}\b", sentence):
            assert written in french or "start_s = " in sentence
        assert catalogue("en").reason(sentence) == sentence


def test_a_decimal_comma_is_for_numbers_not_for_names():
    say = catalogue("fr")
    assert say.reason("moves for 3.2 s only: a false start?").startswith("ne bouge que 3,2")
    assert say.reason("left_1.5.h5 does not reach there") == "left_1.5.h5 ne va pas jusque-là"


def test_a_command_is_told_as_it_is_typed():
    quoted = '"a b/list.csv"' if os.name == "nt" else "'a b/list.csv'"
    assert command_text("prepare", "a b/list.csv", "--cut", delimiter="\t", out="c") == (
        f"imustride prepare {quoted} --cut --delimiter tab --out c"
    )


@pytest.mark.skipif(os.name == "nt", reason="asks a POSIX shell")
@pytest.mark.parametrize(
    "name", ["O'Brien.csv", "$HOME.csv", "`id`.csv", "a\\b.csv", "a  b.csv", "*;?.csv", '"']
)
def test_a_shell_reads_a_command_as_it_was_meant(name):
    typed = command_text("prepare", name).replace("imustride", "printf '%s\\n'", 1)
    read = subprocess.run(["/bin/sh", "-c", typed], capture_output=True, text=True, check=True)
    assert read.stdout.splitlines() == ["prepare", name]


def test_words_for_the_shells_of_windows():
    assert windows_quoted(r"C:\logs\list.csv") == r"C:\logs\list.csv"
    assert windows_quoted("O'Brien.csv") == '"O\'Brien.csv"'


def test_only_pictures_of_an_earlier_cut_are_replaced(group, tmp_path):
    still = np.zeros((1500, 3))
    blocks = Blocks(0.0, np.full(1500, 50), still, still, still, still[:, 0], still[:, 0])
    shown = replace(group, blocks={"left_skate": blocks}, lags_s={"left_skate": 0.0})
    for name in ("cut-2.svg", "cut-1-3.png", "cut-notes.txt", "cut-a.svg", "cut-1.csv"):
        (tmp_path / name).write_text("earlier")
    (tmp_path / "cut-1.0").mkdir()
    files = DayFiles(tmp_path / "in.csv", tmp_path / "kit.toml", tmp_path, tmp_path, cut=True)
    cut = DayCut((shown,), (), ())
    assert write_cut(files, Prepared(None, {}, (), (), cut)) == tmp_path / "cut.html"
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "cut-1.0",
        "cut-1.csv",
        "cut-1.png",
        "cut-1.svg",
        "cut-a.svg",
        "cut-notes.txt",
        "cut.html",
    ]


def test_a_lane_shows_the_most_of_every_step_once():
    # On paper: steps of 2 s from 10 s; the largest share of each, and none again that equals the one before.
    lane = Lane("left_skate", np.arange(10.0, 18.0), np.array([0.1, 0.4, 0.4, 0.2, 0.9, 0.0, 0.3, 0.2]))
    time_s, share = thinned(lane, (10.0, 18.0), 2.0)
    assert time_s.tolist() == [10.0, 14.0, 16.0, 17.0]
    assert share.tolist() == [0.4, 0.9, 0.3, 0.3]


@pytest.mark.parametrize(
    ("count", "hours", "names"),
    [(1, 0.1, ["cut-1"]), (2, 1.0, ["cut-1"]), (9, 3.0, ["cut-1-1", "cut-1-2", "cut-1-3"])],
)
def test_a_long_evening_goes_onto_several_pictures(count, hours, names):
    time_s = np.arange(0.0, hours * 3600.0, 10.0)
    lanes = [Lane("left_skate", time_s, np.zeros(len(time_s)))] * count
    drawn = cut_sheets("cut-1", lanes, [], catalogue("fr"), "left.h5")
    assert list(drawn) == names
    rows = [axes.get_xlim() for figure in drawn.values() for axes in figure.axes]
    assert len(rows) == max(1, np.ceil(hours * 3))
    assert [first for first, _ in rows[1:]] == [last for _, last in rows[:-1]]
    assert {figure.axes[-1].get_xlabel() for figure in drawn.values()} == {"secondes à l'horloge de left.h5"}
    assert max(figure.get_figheight() for figure in drawn.values()) < 6.6
