"""The season's pages in a real browser: self-contained, read by anybody, one printed page, small."""

import dataclasses
import io

import numpy as np
import pytest
from pypdf import PdfReader

from imustride.keeping import compare_season, named_family
from imustride.report.season_page import group_page, season_page
from imustride.season.family import SeasonSettings
from imustride.season.reading import Chosen
from tests.browser.conftest import HOSTILE, Opened
from tests.kept_season import keep_season

NAMES = ("changed", "French", "long", "empty", "hostile", "group", "group in French")
PRINTED = ("changed", "French", "long", "empty", "group", "group in French")
LARGEST_BYTES = 300_000
TELEPHONE_PX, DESK_PX = 360, 1280
PRINTED_PX = round((8.27 - 2 * 8 / 25.4) * 96)
LEAST_PX = 8.0 * 96 / 72
NEW = {"conditions": {"skates": "new", "start_behind_m": 0.6}}
SMALL = """
return [...document.querySelectorAll('body *')].filter(one =>
  [...one.childNodes].some(child => child.nodeType === 3 && child.textContent.trim()) && one.getClientRects().length
).map(one => [parseFloat(getComputedStyle(one).fontSize) * (one.ownerSVGElement ? one.getScreenCTM().a : 1),
              one.textContent.trim().slice(0, 40)]).filter(([size]) => size < arguments[0]);
"""


@pytest.fixture(scope="module")
def result(tmp_path_factory):
    courses = {f"A{number:02d}": np.full(8, 0.28 + 0.01 * number) for number in range(5)}
    courses["A03"] = np.r_[np.full(4, 0.30), np.full(4, 0.34)]
    courses["A04"] = np.full(24, 0.32)
    facts = {("A03", number): NEW for number in range(4, 8)}
    facts["A03", 1] = {"surface": "synthetic"}
    facts |= {("A04", number): {"conditions": {"sharpening": f"{number} days ago"}} for number in range(24)}
    facts |= {("A04", number): {"protocol": f"test {number}"} for number in range(2, 9)}
    place = tmp_path_factory.mktemp("kept") / "season.db"
    store = keep_season(place, courses, {"A03": np.full(8, 6.0)}, facts=facts)
    settings = SeasonSettings()
    return compare_season(store, Chosen(), named_family(settings), settings)


@pytest.fixture(scope="module")
def pages(result):
    def without_values(course):
        judged = {**course.judged, "sessions": 0, "verdict": "unclear", "change": float("nan")}
        return dataclasses.replace(course, points=(), side={}, judged=judged)

    empty = dataclasses.replace(result, courses=tuple(map(without_values, result.courses)))
    addresses = {code: f"season-{code}.html" for code in result.athletes}
    return {
        "changed": season_page(result, "A03"),
        "French": season_page(result, "A03", "fr", "imperial"),
        "long": season_page(result, "A04"),
        "empty": season_page(empty, "A03"),
        "hostile": season_page(hostile(result), HOSTILE),
        "group": group_page(result, addresses),
        "group in French": group_page(result, addresses, "fr"),
    }


def hostile(result):
    """Bad text wherever a code, a folder or a condition can bring it."""
    courses = tuple(
        dataclasses.replace(
            course,
            athlete=HOSTILE,
            points=tuple(
                dataclasses.replace(point, session=HOSTILE, changed=(HOSTILE,)) for point in course.points
            ),
            apart=tuple(dataclasses.replace(one, reasons=(HOSTILE,)) for one in course.apart),
            smallest_source=HOSTILE,
        )
        for course in result.of("A03")
    )
    return dataclasses.replace(
        result, athletes=(HOSTILE,), courses=courses, protocol={HOSTILE: HOSTILE}, surface={}
    )


@pytest.fixture(scope="module")
def shown(browser, pages, tmp_path_factory):
    folder = tmp_path_factory.mktemp("season")

    def show(name):
        path = folder / f"{name.replace(' ', '_')}.html"
        path.write_text(pages[name], encoding="utf-8", newline="\n")
        return Opened(browser, name, path)

    return show


@pytest.mark.parametrize("name", NAMES)
def test_it_is_alone_silent_small_and_nothing_sticks_out(shown, pages, name):
    assert len(pages[name].encode()) < LARGEST_BYTES
    opened = shown(name)
    assert (opened.own, opened.others, opened.complaints) == (1, [], [])
    assert opened.run("return document.querySelectorAll('img, script, iframe, object, link').length") == 0
    for width_px in (TELEPHONE_PX, DESK_PX):
        for unfolded in (False, True):
            opened.wide(width_px)
            opened.unfold(unfolded)
            assert opened.run("return document.documentElement.scrollWidth") <= width_px


@pytest.mark.parametrize("name", NAMES)
def test_the_accessibility_checker_finds_nothing(shown, axe, name):
    opened = shown(name)
    opened.unfold(unfolded=True)
    opened.run(axe + "; window.axe = axe;")
    found = opened.browser.execute_async_script(
        "const done = arguments[arguments.length - 1]; axe.run(document, {resultTypes: ['violations']})"
        ".then(found => done([found.passes.length, found.violations.map(v => [v.id, v.nodes.map(n => n.html.slice(0, 200))])]))"
    )
    assert found[0] >= 10
    assert found[1] == []


@pytest.mark.parametrize("name", PRINTED)
def test_it_prints_on_one_page_with_the_answer_and_letters_large_enough(shown, name):
    opened = shown(name)
    opened.unfold(unfolded=False)
    for paper in ("A4", "Letter"):
        printed = PdfReader(io.BytesIO(opened.printed(paper))).pages
        assert len(printed) == 1
    if name == "changed":
        text = " ".join(printed[0].extract_text().split())
        assert "Real change" in text
        assert "from 2025-11-01 on" in text
        assert "Not a medical device" in text
    opened.wide(PRINTED_PX, "print")
    assert opened.run("return document.documentElement.scrollWidth") <= PRINTED_PX
    assert opened.run(SMALL, LEAST_PX - 0.07) == []


def test_the_course_is_told_in_words(shown):
    opened = shown("changed")
    read = " ".join(opened.run("return document.body.innerText").split())
    for part in (
        "Real change: gate time",
        "One session against another shows a change of",
        "1: 2025-11-01, skates: old, then new",
        "2025-09-20: not compared, surface: synthetic and ice",
        "The right is larger and stays so",
        "Not a medical device",
    ):
        assert part in read
    said = opened.run(
        "return [...document.querySelectorAll('figure')].map(f => f.getAttribute('aria-label'))"
    )
    assert len(said) == 6
    assert all("7 sessions, 2025-09-06 to 2025-12-13" in one for one in said)


def test_the_group_is_in_the_order_of_the_codes_with_the_way_to_each_page(shown):
    links = shown("group").run("return [...document.querySelectorAll('a')].map(a => [a.textContent, a.href])")
    assert [code for code, _ in links] == [f"A{number:02d}" for number in range(5)]
    assert all(href.endswith(f"/season-{code}.html") for code, href in links)
