"""The sheet for the boards prints on one page of A4 and of Letter."""

import re

import pytest

from imustride.constants import PLACES
from imustride.report.sheet import SIZES, Line, sheet_page
from tests.browser.printing import PAPERS_IN, print_to_pdf

DAY = "2026-10-03"


def lines(count, runs=3, places=("left_skate", "right_skate")):
    return [
        Line(
            f"A{number:02d}",
            {place: f"S{40 + i:03d}" for i, place in enumerate(places)},
            tuple((f"run-{run + 1}", f"18:{run:02d}", ("left", "right")[run % 2]) for run in range(runs)),
        )
        for number in range(count)
    ]


def pages(browser, tmp_path, content, paper):
    path = tmp_path / "sheet.html"
    path.write_text(content, encoding="utf-8")
    browser.get(path.as_uri())
    printed = print_to_pdf(browser, paper, own_size=True)
    return len(re.findall(rb"/Type\s*/Page\b", printed))


@pytest.mark.parametrize("paper", PAPERS_IN)
@pytest.mark.parametrize(("count", "runs"), [(1, 1), *((most, 3) for most, _ in SIZES), (20, 4)])
def test_it_prints_on_one_page(browser, tmp_path, paper, count, runs):
    assert pages(browser, tmp_path, sheet_page(DAY, "sprint-100ft", lines(count, runs)), paper) == 1


@pytest.mark.parametrize("paper", PAPERS_IN)
@pytest.mark.parametrize(("count", "worn"), [(1, 11), (6, 11), (10, 11), (12, 3)])
def test_with_sensors_on_the_body_it_still_prints_on_one_page(browser, tmp_path, paper, count, worn):
    content = sheet_page(DAY, "sprint-100ft", lines(count, 3, PLACES[:worn]))
    assert "Two slow squats" in content
    assert "Too many athletes" not in content
    assert pages(browser, tmp_path, content, paper) == 1


def test_more_than_fits_is_told(browser, tmp_path):
    content = sheet_page(DAY, "", lines(SIZES[-1][0] + 30))
    assert "Too many athletes for one page" in content
    assert pages(browser, tmp_path, content, "Letter") > 1


def test_nothing_of_a_list_becomes_markup(browser, tmp_path):
    line = Line("A07", {"left_skate": "<img src=x>"}, (("<b>", "18:05", "left"),))
    content = sheet_page(DAY, "<script>alert(1)</script>", [line])
    assert "<script>" not in content
    assert "<img" not in content
    assert pages(browser, tmp_path, content, "A4") == 1
