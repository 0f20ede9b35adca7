"""The page of a cut in a real browser: self-contained, silent, read by anybody, at the desk, on a telephone and on paper."""

import io

import numpy as np
import pytest
from pypdf import PdfReader

from imustride.constants import PLACES
from imustride.report.cut import CutPicture, CutRow, Seen, Told, cut_files
from imustride.report.cut_picture import Lane, Span
from tests.browser.conftest import HOSTILE, Opened
from tests.browser.printing import print_to_pdf

NAMES = ("corrected", "in French", "good", "long", "hostile")
TELEPHONE_PX, DESK_PX = 360, 1280
MARGINS_MM = 2 * 10
ACROSS_PX = round((297 - MARGINS_MM) / 25.4 * 96)  # A4 across, between its margins
LEAST_PX = 8.0 * 96 / 72
SMALL = """
return [...document.querySelectorAll('body *')].filter(one =>
  [...one.childNodes].some(child => child.nodeType === 3 && child.textContent.trim()) && one.getClientRects().length
).map(one => [parseFloat(getComputedStyle(one).fontSize) * (one.ownerSVGElement ? one.getScreenCTM().a : 1),
              one.textContent.trim().slice(0, 40)]).filter(([size]) => size < arguments[0]);
"""
PROBLEMS = (
    "list.csv, line 3, A07 run-2: may be the run at 391 s or 456 s of left_skate.h5 or none (6 runs, 4 lines): not decided; give start_s and end_s of a line",
    "list.csv, line 5, A07 run-4: no run for it in left_skate.h5; there lie: at 580 s a motion without shocks; remove the line, or give its start_s and end_s",
    "left_skate.h5: the run at 246 s (start_s = 238.9, end_s = 262.7) is on no line of list.csv; add its line, or leave it out",
)


def lanes(places, length_s):
    time_s = np.arange(0.0, length_s, 0.1)
    return tuple(
        Lane(place, time_s + 5.0, (np.sin(time_s / (20.0 + number)) > 0) * 0.9)
        for number, place in enumerate(places)
    )


def picture(text=lambda name: name, places=PLACES[:3], length_s=600.0):
    """A list of four lines: one found without the hips, one of two runs, one said, one without a run."""
    found = Seen("2", 171.8, 196.4, 178.9, 6.4, 4.3, 2, 2)
    said = Seen("4", 520.0, 545.0, 527.8, 0.0, 0.0, 0, 0)
    missing = {"pelvis": f"{text('pelvis.h5')} does not reach there"}
    who = (text("A07"), text("run-1"))
    rows = (
        CutRow(2, "18:02", *who, 5.245, "found", found, missing=missing),
        CutRow(3, "18:06", *who, 5.293, "unclear", choices_s=(391.0, 455.9)),
        CutRow(4, "18:08", *who, None, "said", said),
        CutRow(5, "18:40", *who, 5.293, "none"),
    )
    others = (
        Seen("+", 238.9, 262.7, 245.7, 7.5, 4.0, 2, 2),
        Seen("?", 383.0, 406.7, 391.0, 5.6, 5.1, 2, 1, (3,)),
        Seen("?", 447.7, 470.8, 455.9, 7.6, 5.1, 1, 2, (3,)),
    )
    aside = (
        Seen("", 40.5, 134.5, 52.5, 30.0, 40.0, 0, 0, reason="pushes for 30 s: no sprint through gates"),
    )
    kinds = (("run", found), ("over", others[0]), ("guess", others[1]), ("guess", others[2]), ("run", said))
    spans = [
        Span(kind, one.mark, one.from_s, one.to_s, one.start_s, one.to_s - 4.0, (one.from_s + 1.0,))
        for kind, one in (*kinds, ("aside", aside[0]))
    ]
    logs = tuple(text(f"{place}.h5") for place in places)
    return CutPicture(logs, lanes(places, length_s), tuple(spans), rows, others, aside)


@pytest.fixture(scope="module")
def pages():
    again = "imustride prepare list.csv --cut --out evening"
    wrong = Told("list.csv", PROBLEMS, ("list.csv, line 2: worth knowing",), again, "")
    good = Told("list.csv", (), (), again, "imustride analyse evening/2026-10-03-A07 --out results")
    one = picture()
    matched = CutPicture(one.logs, one.lanes, one.spans[:1], one.rows[:1], (), ())
    told = Told(HOSTILE, (HOSTILE,), (HOSTILE,), HOSTILE, HOSTILE)
    long = picture(places=PLACES[:9], length_s=3 * 3600.0)
    return {
        "corrected": cut_files(wrong, [one, matched]),
        "in French": cut_files(wrong, [one], "fr"),
        "good": cut_files(good, [matched]),
        "long": cut_files(wrong, [long], "fr"),
        "hostile": cut_files(told, [picture(lambda name: f"{HOSTILE}{name}")]),
    }


@pytest.fixture(scope="module", params=NAMES)
def opened(request, browser, pages, tmp_path_factory):
    path = tmp_path_factory.mktemp("cut") / "cut.html"
    path.write_bytes(pages[request.param]["cut.html"])
    return Opened(browser, request.param, path)


def test_it_is_alone_silent_and_nothing_sticks_out(opened):
    assert (opened.own, opened.others, opened.complaints) == (1, [], [])
    assert (
        opened.run("return document.querySelectorAll('img, script, iframe, object, link, [onerror]').length")
        == 0
    )
    for width_px in (TELEPHONE_PX, DESK_PX):
        opened.wide(width_px)
        for unfolded in (False, True):
            opened.unfold(unfolded)
            assert opened.run("return document.documentElement.scrollWidth") <= width_px


def test_the_accessibility_checker_finds_nothing(opened, axe):
    opened.unfold(unfolded=True)
    opened.run(axe + "; window.axe = axe;")
    for width_px in (TELEPHONE_PX, DESK_PX):
        opened.wide(width_px)
        found = opened.browser.execute_async_script(
            "const done = arguments[arguments.length - 1]; axe.run(document, {resultTypes: ['violations']})"
            ".then(found => done([found.passes.length, found.violations.map(v => [v.id, v.nodes.map(n => n.html.slice(0, 200))])]))"
        )
        assert found[0] >= 10
        assert found[1] == []


def test_letters_are_large_enough_on_a_telephone_and_on_paper(opened):
    opened.wide(TELEPHONE_PX)
    assert opened.run(SMALL, 11.9) == []
    opened.wide(ACROSS_PX, "print")
    if opened.name != "hostile":
        assert (
            opened.run("return document.documentElement.scrollWidth") <= ACROSS_PX
        )  # else it is printed smaller
    assert opened.run(SMALL, LEAST_PX - 0.07) == []


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_picture_is_cut_by_the_end_of_a_sheet(opened, paper):
    opened.unfold(unfolded=False)
    sheets = PdfReader(io.BytesIO(print_to_pdf(opened.browser, paper, own_size=True))).pages
    size_pt = [float(side) for side in (sheets[0].mediabox.width, sheets[0].mediabox.height)]
    assert size_pt[0] > size_pt[1]
    assert opened.name == "long" or len(sheets) <= 4
    margins_pt = MARGINS_MM / 25.4 * 72
    opened.wide(round((size_pt[0] - margins_pt) * 96 / 72), "print")
    heights_px = opened.run(
        "return [...document.querySelectorAll('figure')].map(one => one.getBoundingClientRect().height)"
    )
    assert len(heights_px) == {"long": 3, "corrected": 2}.get(opened.name, 1)
    assert max(heights_px) <= (size_pt[1] - margins_pt) * 96 / 72


def test_what_was_found_is_told_in_words(opened):
    opened.wide(DESK_PX)
    opened.unfold(unfolded=True)
    read = " ".join(opened.run("return document.body.innerText").split())
    parts = {
        "corrected": (
            "Lines of the list that have their run: 3 of 5.",
            "1 line is not decided",
            "1 line has no run in the logs",
            "1 run in the logs is on no line",
            "2 lines lack a sensor",
            "No session was written yet",
            "left_skate.h5: the run at 246 s (start_s = 238.9, end_s = 262.7) is on no line of list.csv",
            "2 18:02 A07 run-1 yes 171.8 196.4 178.9 s 5.245 s 6.4 s 4.3 s 2 before, 2 after hips: pelvis.h5 does not",
            "begins at 391.0 s or 455.9 s, or none of them",
            "4 18:08 A07 run-1 as the list says 520.0 545.0",
            "5 18:40 A07 run-1 no",
            "? 383.0 406.7 391.0 s 5.6 s 5.1 s 2 before, 1 after may be line 3",
            "+ 238.9 262.7",
            "pushes for 30 s: no sprint through gates",
            "imustride prepare list.csv --cut --out evening",
            "add --partial",
        ),
        "in French": (
            "Lignes de la liste qui ont leur essai : 2 sur 4.",
            "list.csv, ligne 3, A07 run-2 : peut être l'essai à 391 s ou à 456 s de left_skate.h5, ou aucun",
            "list.csv, ligne 5, A07 run-4 : aucun essai pour elle dans left_skate.h5",
            "l'essai à 246 s n'est sur aucune ligne de list.csv",
            "2 18:02 A07 run-1 oui 171.8 196.4 178,9 s 5,245 s 6,4 s 4,3 s 2 avant, 2 après bassin : pelvis.h5 ne va pas",
            "commence à 391,0 s ou 455,9 s, ou aucun d'eux",
            "pousse pendant 30 s : pas un sprint entre des portes",
        ),
        "good": (
            "The line of the list has its run.",
            "is every grey part the run of its line?",
            "imustride analyse evening/2026-10-03-A07 --out results",
        ),
    }
    for part in parts.get(opened.name, ()):
        assert part in read
    assert ("To correct" in read) == (opened.name in {"corrected", "hostile"})


def test_bad_names_stay_text(opened):
    read = opened.run("return document.body.textContent")
    assert ("<img src=x onerror=alert(1)>\"'`&amp;</style></td>[U+202E]" in read) == (
        opened.name == "hostile"
    )
    unseen = opened.run(
        r"return document.documentElement.textContent.match(/[\u0000-\u0008\u000b-\u001f\u202a-\u202e\u2066-\u2069]/g)"
    )
    assert unseen is None
