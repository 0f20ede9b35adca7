"""Captions: times worked out on paper, read back by an independent parser (webvtt-py)."""

import dataclasses
import io

import numpy as np
import pandas as pd
import pytest
import webvtt as independent

from imustride.errors import SettingsError
from imustride.exporting.captions import (
    HOLD_S,
    LEAD_S,
    Cue,
    FilmTime,
    caption_problem,
    cues,
    webvtt,
    write_captions,
)
from imustride.results import RunResult

HOSTILE = "<b onclick=x>&amp; --> \u202e\x00\r\n\n00:00.000 --> 00:09.000\nNOTE"


def made(rows, **rest):
    table = pd.DataFrame(rows, columns=["side", "push", "blade_on_s", "blade_off_s"])
    return RunResult("run-1", table.assign(flags=""), {}, {}, usable=True, **rest)


# The right foot lifts first (push 0), the left one pushes from standing.
BY_HAND = made([
    ("right", 0, np.nan, 10.0),
    ("left", 1, np.nan, 10.5),
    ("right", 1, 10.4, 10.9),
    ("left", 2, 10.8, 11.2),
    ("right", 2, 11.1, np.nan),
])  # fmt: skip


def head(row):
    return [f"{row['side'][0].upper()}{row['push']}"]


def read(text):
    return list(independent.from_buffer(io.StringIO(text)))


def test_a_caption_stands_from_blade_on_to_the_next_one_of_the_foot():
    # The first blade leaves the ice at 10.0 on the run's clock and at 2.0 in the film: film = run - 8.
    found, before = cues(BY_HAND, FilmTime(10.0, 2.0), head)
    expected = [
        ("L1", 2.5 - LEAD_S, 2.8),
        ("R1", 2.4, 3.1),
        ("L2", 2.8, 2.8 + HOLD_S),
        ("R2", 3.1, 3.1 + HOLD_S),
    ]
    assert before == 0
    assert [cue.lines for cue in found] == [(name,) for name, *_ in expected]
    np.testing.assert_allclose([(cue.begin_s, cue.end_s) for cue in found], [row[1:] for row in expected])


def test_a_film_slower_than_life_stretches_the_times():
    found, _ = cues(BY_HAND, FilmTime(10.0, 2.0, slower=8.0), head)
    assert found[1].begin_s == pytest.approx(2.0 + 8 * 0.4)
    assert found[1].end_s == pytest.approx(2.0 + 8 * 1.1)


def test_a_lost_blade_on_does_not_show_before_the_push_before_has_ended():
    run = made([("left", 1, 1.0, 1.5), ("left", 2, np.nan, 1.7)])
    found, _ = cues(run, FilmTime(0.0, 0.0), head)
    assert [(cue.begin_s, cue.end_s) for cue in found] == [(1.0, 1.5), (1.5, 1.5 + HOLD_S)]


def test_a_push_without_any_time_has_no_caption():
    found, before = cues(made([("left", 1, np.nan, np.nan)]), FilmTime(0.0, 0.0), head)
    assert (found, before) == ([], 0)


def test_what_lies_before_the_film_is_left_out_and_what_reaches_into_it_begins_with_it():
    # film = run - 10.9: R1 would stand from -0.5 to 0.2, L1 from -0.8 to -0.1.
    found, before = cues(BY_HAND, FilmTime(10.9, 0.0), head)
    assert before == 1
    assert [cue.lines[0] for cue in found] == ["L2", "R1", "R2"]
    first, *_ = read(webvtt(found))
    assert (first.start, first.text) == ("00:00:00.000", "L2")


def test_an_independent_parser_reads_the_file_as_meant():
    found, _ = cues(BY_HAND, FilmTime(10.0, 3602.0), head)
    text = webvtt(found, ["2026-10-03, sprint"])
    assert text.startswith("WEBVTT\n\nNOTE imustride captions\n2026-10-03, sprint\n\n")
    parsed = read(text)
    assert [cue.text for cue in parsed] == ["L1", "R1", "L2", "R2"]
    assert [cue.identifier for cue in parsed] == [
        "run-1 left 1",
        "run-1 right 1",
        "run-1 left 2",
        "run-1 right 2",
    ]
    assert (parsed[1].start, parsed[1].end) == ("01:00:02.400", "01:00:03.100")
    starts = [cue.start for cue in parsed]
    assert starts == sorted(starts)
    assert "position:4% size:46% align:left\nL1" in text
    assert "position:96% size:46% align:right\nR1" in text


def test_text_is_no_markup_and_breaks_nothing():
    text = webvtt([Cue(1.0, 2.0, HOSTILE, "left", ("L1", HOSTILE, ""))], [HOSTILE])
    (cue,) = read(text)
    said = "&lt;b onclick=x&gt;&amp;amp; --&gt; 00:00.000 --&gt; 00:09.000 NOTE"
    assert cue.text == f"L1\n{said}"
    assert cue.identifier == said
    assert text.count("-->") == 1
    assert not set(text) & set("\x00\r\u202e")


def test_a_caption_without_text_or_length_is_still_one():
    (cue,) = read(webvtt([Cue(1.0, 1.0, "a", "right", ("",))]))
    assert (cue.start, cue.end, cue.text) == ("00:00:01.000", "00:00:01.001", "\N{EN DASH}")


@pytest.mark.parametrize(
    ("flags", "said"),
    [
        ("gap;sides_swapped", "left and right are exchanged"),
        ("clocks_not_synchronised", "not joined"),
        ("gap", None),
    ],
)
def test_runs_that_no_film_can_show_are_told(flags, said):
    problem = caption_problem(dataclasses.replace(BY_HAND, pushes=BY_HAND.pushes.assign(flags=flags)))
    assert problem is None if said is None else said in problem


def test_a_run_without_pushes_says_why():
    empty = dataclasses.replace(BY_HAND, pushes=BY_HAND.pushes[:1], usable=False, reason="no quiet stance")
    assert caption_problem(empty) == "no push was found (no quiet stance)"


def test_only_our_own_captions_are_replaced(tmp_path):
    path = tmp_path / "new" / "run-1.vtt"
    for text in (webvtt([]), webvtt([], ["again"])):
        write_captions(path, text)
        assert path.read_text(encoding="utf-8") == text
    theirs = tmp_path / "theirs.vtt"
    theirs.write_text("WEBVTT\n", encoding="utf-8")
    (tmp_path / "link.vtt").symlink_to(path)
    for other in (theirs, tmp_path / "link.vtt", tmp_path / "new"):
        with pytest.raises(SettingsError, match="choose another --out"):
            write_captions(other, webvtt([]))
    assert theirs.read_text(encoding="utf-8") == "WEBVTT\n"
