import dataclasses
import re
from html.parser import HTMLParser

import numpy as np
import pandas as pd
import pytest

from imustride.report import summary_page

VOID = {"meta", "br", "link", "input", "img", "hr"}


class Outline(HTMLParser):
    """Collects tags, identifiers and visible text, and checks that tags close."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.ids, self.open, self.text, self.attributes = [], [], [], [], []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value) for name, value in attrs]
        self.ids += [value for name, value in attrs if name == "id"]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if "style" not in self.open:
            self.text.append(data)


@pytest.fixture(scope="module")
def page(result):
    return summary_page(result)


def words(page):
    return " ".join(" ".join(Outline(page).text).split())


def test_the_page_is_well_formed_and_identifiers_are_unique(page):
    outline = Outline(page)
    assert outline.open == []
    assert len(outline.ids) == len(set(outline.ids))


def test_every_reference_inside_the_page_has_its_target(page):
    outline = Outline(page)
    used = set(re.findall(r'(?:xlink:)?href="#([^"]+)"|url\(#([^)]+)\)', page))
    assert {a or b for a, b in used} <= set(outline.ids)


def test_nothing_is_fetched_and_nothing_runs(page):
    outline = Outline(page)
    assert not {"script", "img", "link", "iframe", "object", "embed", "form"} & set(outline.tags)
    fetched = {"src", "srcset", "action", "data", "poster"}
    assert not [a for a in outline.attributes if a[1] in fetched or a[1].startswith("on")]
    references = [value for _, name, value in outline.attributes if name in {"href", "xlink:href"}]
    assert all(value.startswith("#") for value in references)
    assert "default-src 'none'" in page
    assert "@import" not in page


def test_equal_results_give_equal_pages(result, page):
    assert summary_page(result) == page


def test_the_page_is_small(page):
    assert len(page.encode()) < 300_000


def test_it_says_who_when_where(page):
    text = words(page)
    for part in ("A07", "2026-10-03", "sprint-100ft", "Surface ice", "on record, given by a guardian"):
        assert part in text


def test_missing_consent_is_said(make_result):
    assert "not on record" in words(summary_page(make_result(consent=None)))


def test_an_unusable_run_is_shown_with_its_reason(page):
    assert "no: the right sensor clipped in 4 of 9 pushes" in words(page)
    assert "run-3 (does not count)" in page


def test_a_rate_has_its_sample_size_and_spread(page):
    # 17 equal pushes scatter by nothing that floating point does not add.
    assert re.search(r"3\.23 \(±0\.00, n 17\)", words(page))


def test_a_comparison_has_interval_systematic_part_sample_size_and_verdict(page):
    text = words(page)
    # Left mean 0.301 s, 5.1 % of it over the root of 4 pushes: 8 ms, so milliseconds; difference 31 ms within 12 ms.
    assert (
        "time on the ice, first 6 pushes real difference: the right blade stays on the ice 31 ms longer (19 to 43 ms):"
        in text
    )
    assert "0.301 s (5.1 %) 0.332 s (4.7 %) +31 ms (+19 to +43 ms) ±4 ms 4, 6; 2" in text
    assert (
        "too small to call: these sensors, as they sat, cannot see less than 7 ms, however many runs" in text
    )
    assert "0.021 s 0.015 s −6 ms (−14 to +2 ms) ±7 ms 12, 12; 2" in text


def test_an_open_question_says_what_would_answer_it(page):
    assert "not sure yet: about 5 more runs would tell; now it could be anything from −9 to +23 ms" in words(
        page
    )


def test_what_could_not_be_compared_is_named_with_its_reason(page):
    assert "Not measured: direction of the blade, outward (too few neighbouring pushes" in words(page)


def test_phases_taken_together_and_mere_reciprocals_stay_in_the_tables(page):
    assert "+4.8" not in words(page)
    assert "stride rate" not in words(page)


def test_too_few_pushes_for_an_interval_are_not_drawn_as_certain(result):
    bare = result.symmetry.assign(ci_low_percent=np.nan, ci_high_percent=np.nan)
    page = summary_page(dataclasses.replace(result, symmetry=bare))
    assert "toe-down turn" not in re.search(r"Left against right</h2>(.*?)</figure>", page, re.DOTALL)[1]
    wide = bare.assign(difference_ci_low=np.nan, difference_ci_high=np.nan)
    text = words(summary_page(dataclasses.replace(result, symmetry=wide)))
    assert "+31 ms (too few pushes to say how sure)" in text


def test_every_picture_is_described(page):
    figures = re.findall(r'<figure role="img" aria-label="([^"]+)">\s*<svg ', page)
    assert len(figures) == 5
    assert "9 pushes left, 9 right" in figures[0]
    assert "10 blade-offs left and 9 blade-offs right" in figures[3]


def test_the_run_from_above_is_named_and_its_numbers_are_in_a_table(page):
    text = words(page)
    assert "run-1 seen from above" in text
    assert "run-1: the first run that counts and has tracks. The skater goes from left to right" in text
    assert "timing gates (G) at 0.50 and 30.98 m" in text
    table = page[page.index("Numbers of the picture: run-1 seen") :]
    assert re.search(r"<td>R9</td><td>[\d.]+ ±0\.05</td>", table)


def test_gates_that_could_not_be_placed_are_said(result):
    run = dataclasses.replace(result.runs[0], body=None)
    assert "timing gates not placed" in words(summary_page(dataclasses.replace(result, runs=(run,))))
    bare = dataclasses.replace(run, gates=None)
    assert "no timing gates" in words(summary_page(dataclasses.replace(result, runs=(bare,))))


def test_it_is_said_that_paths_were_not_checked_and_how_they_could_be(page):
    text = words(page)
    assert "not been checked against motion capture" in text
    assert "a camera above the lane" in text


def test_feet_differ_by_more_than_colour(page):
    course = re.search(r"push by push</h2>(.*?)</figure>", page, re.DOTALL)[1]
    marks = set(re.findall(r'<path id="turn-[^"]+" d="([^"]+)" style="stroke: (#003f6b|#e06c00)', course))
    shapes = {colour: {d for d, of in marks if of == colour} for colour in ("#003f6b", "#e06c00")}
    assert shapes["#003f6b"]
    assert shapes["#e06c00"]
    assert not {d for d in shapes["#003f6b"] & shapes["#e06c00"] if "z" in d}
    assert "stroke-dasharray" in course
    assert ">L</text>" in course
    assert ">R</text>" in course


def test_cautions_are_on_the_page(page):
    text = words(page)
    for part in (
        "Not a medical device",
        "return to play",
        "guardian's consent",
        "rink's rules come first",
        "simulated",
    ):
        assert part in text


def test_what_must_never_be_shown(page):
    text = words(page).lower()
    for part in ("score", "balance", "52/48", "risk", "normal range", "rank"):
        assert part not in text


def test_hostile_text_stays_text(result):
    name = '<script>alert(1)</script>&"$x$'
    run = dataclasses.replace(result.runs[0], name=name, pushes=result.runs[0].pushes.assign(run=name))
    hostile = dataclasses.replace(
        result,
        runs=(run,),
        pushes=run.pushes,
        runs_table=result.runs_table.head(1).assign(run=name),
        notes=("<b>left and right are swapped</b>",),
    )
    page = summary_page(hostile)
    assert "<script" not in page
    assert "<b>" not in page
    assert name in words(page)


def test_letters_no_font_here_knows_do_not_stop_the_page(result):
    run = dataclasses.replace(result.runs[0], name="走行1")
    assert "走行1" in summary_page(dataclasses.replace(result, runs=(run,)))


def test_a_session_without_a_push_still_has_a_page(result):
    runs = tuple(
        dataclasses.replace(run, pushes=run.pushes.head(0), usable=False, reason="no push")
        for run in result.runs
    )
    table = result.runs_table.assign(
        pushes_left=0, pushes_right=0, step_rate_hz=np.nan, usable=False, reason="no push"
    )
    empty = dataclasses.replace(
        result, runs=runs, pushes=result.pushes.head(0), runs_table=table, symmetry=result.symmetry.head(0)
    )
    page = summary_page(empty)
    assert "<svg" not in page
    assert "no: no push" in words(page)
    assert "Nothing could be compared between left and right" in words(page)


def test_unjoined_clocks_are_said_below_the_rhythm(result):
    flagged = result.runs[0].pushes.assign(flags="clocks_not_synchronised")
    unjoined = dataclasses.replace(result, runs=(dataclasses.replace(result.runs[0], pushes=flagged),))
    assert "clocks could not be joined" in words(summary_page(unjoined))
    assert "clocks could not be joined" not in words(summary_page(result))


def test_a_long_session_stays_small(result):
    long = pd.concat([result.runs[0].pushes] * 100, ignore_index=True)
    long["blade_off_s"] += np.arange(len(long)) * 0.3
    long["blade_on_s"] += np.arange(len(long)) * 0.3
    names = [f"run-{k}" for k in range(12)]
    runs = tuple(dataclasses.replace(result.runs[0], name=name, pushes=long) for name in names)
    many = dataclasses.replace(result, runs=runs, pushes=pd.concat([long] * 12, ignore_index=True))
    page = summary_page(many)
    assert len(page.encode()) < 300_000
    assert "pushes.csv holds all" in words(page)
