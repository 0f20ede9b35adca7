"""The words of the produced page: the trade's, no jargon, nothing that must never be shown, names that stay text."""

import dataclasses
import html
import re
from pathlib import Path

import pytest

from imustride.report import summary_page
from imustride.report.amounts import Amounts
from imustride.report.catalogue import catalogue, languages
from imustride.report.page_rows import condition

ROOT = Path(__file__).parents[3]
LAST = '<section class="screen" id="reading">'
# Words of the laboratory, for the last section and the tables only.
JARGON = {
    "en": r"\b(strides?|steps?|inclination|index|CV|asymmetr\w+|alike|unclear)\b",
    "fr": r"\b(foulées?|indice|CV|inclinaison|asymétri\w+)\b",
}
NEVER = {
    "en": r"\b(score|gauge|balance|risk of|normal range|rank\w*|ready|cleared)\b|\d+ ?/ ?\d+ %",
    "fr": r"\b(score|jauge|équilibre|risque de|classement|prêt)\b|\d+ ?/ ?\d+ %",
}


def words(part):
    """Text of a part of a page."""
    bare = re.sub(r"<style>.*?</style>", "", part, flags=re.DOTALL)
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", bare)).split())


def spoken(page):
    """What the page says before its last section, its pictures and their alternatives included."""
    before = page.split(LAST)[0]
    return " ".join([words(before), *re.findall(r'aria-label="([^"]*)"', before)])


@pytest.fixture(scope="module", params=languages())
def said(request, result):
    page = summary_page(result, request.param)
    assert page.count(LAST) == 1
    return request.param, page


def test_no_jargon_before_the_last_section(said):
    language, page = said
    assert re.findall(JARGON[language], spoken(page)) == []


def test_the_last_section_explains_the_jargon(said):
    language, page = said
    explained = words(page.split(LAST)[1])
    for word in {"en": ("stride", "step", "index", "CV"), "fr": ("foulée", "indice", "CV")}[language]:
        assert word in explained


def test_what_must_never_be_shown(said):
    language, page = said
    assert re.findall(NEVER[language], words(page), flags=re.IGNORECASE) == []


def test_the_words_of_the_trade_are_used(result):
    text = spoken(summary_page(result))
    for word in ("Pushes per second", "time on the ice", "the same", "real difference", "Watch:"):
        assert word in text


def test_the_order_of_the_page(result):
    text = words(summary_page(result))
    parts = ("Date", "Protocol", "Surface", "Consent", "Gate times", "Which runs count", "In short",
             "Left and right in figures", "Every push", "How to read this, and limits", "Not a medical device")  # fmt: skip
    # Paper repeats the cautions further up; on the screen they come last.
    places = [text.rindex(part) if part.startswith("Not a") else text.index(f" {part} ") for part in parts]
    assert places == sorted(places)


def test_cautions_are_in_every_language(said):
    language, page = said
    footer = words(page[page.index("<footer") :])
    expected = {
        "en": ("Not a medical device", "return to play", "guardian's consent", "child's own agreement", "rink's rules"),
        "fr": ("Pas un dispositif médical", "reprendre le jeu", "consentement", "l'accord de l'enfant", "patinoire"),
    }  # fmt: skip
    for part in expected[language]:
        assert part in footer.replace("\N{NO-BREAK SPACE}", " ")


def test_the_page_names_its_language(said):
    language, page = said
    assert f'<html lang="{language}">' in page


@pytest.mark.parametrize(
    "metric", [key.split(".")[1] for key in catalogue("en").texts if re.fullmatch(r"metric\.\w+\.name", key)]
)
def test_the_readme_maps_the_words_to_the_columns(metric):
    rows = [
        line.lower()
        for line in (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
        if line[:1] == "|"
    ]
    name = catalogue("en")(f"metric.{metric}.name")
    if metric != "stride_rate_hz":  # not on the page: 1 / stride_time_s
        assert any(name in row.split("|")[1] and f"`{metric}`" in row.split("|")[2] for row in rows)


@pytest.mark.parametrize(
    ("name", "value", "system", "shown"),
    [
        ("start_behind_m", 0.5, "metric", ("start behind the first gate", "0.50 m")),
        ("start_behind_m", 0.75, "imperial", ("start behind the first gate", "2.46 ft")),  # 0.75 / 0.3048
        ("start_behind_m", 1, "metric", ("start behind the first gate", "1.00 m")),
        ("wind_m_s", 2.0, "imperial", ("wind", "4.47 mph")),  # 2 / 0.44704
        ("stick", False, "metric", ("stick in hand", "no")),
        ("ice", "fresh", "metric", ("ice", "fresh")),
        ("ice_temperature_deg", -5.5, "metric", ("ice temperature", "-5.5 °")),
        ("laps", 3, "metric", ("laps", "3")),
    ],
)
def test_a_condition_keeps_its_unit(name, value, system, shown):
    found = condition(name, value, Amounts(catalogue("en"), system))
    assert tuple(text.replace("\N{NO-BREAK SPACE}", " ") for text in found) == shown


@pytest.mark.parametrize("language", languages())
def test_equal_results_give_equal_pages_in_every_language(result, language):
    assert summary_page(result, language, "imperial") == summary_page(result, language, "imperial")


def test_feet_are_explained_where_they_are_used(result):
    assert "converted exactly" in summary_page(result, system="imperial")
    assert "converted exactly" not in summary_page(result)


HOSTILE = 'a\u202eb\x00\x1b[2J<svg onload="x">&amp;\'{{ 7 * 7 }}{0}\u2066'


def test_names_from_files_are_shown_and_not_obeyed(result):
    run = dataclasses.replace(
        result.runs[0], name=HOSTILE, pushes=result.runs[0].pushes.assign(run=HOSTILE), notes=(HOSTILE,)
    )
    hostile = dataclasses.replace(
        result,
        session=result.session.model_copy(update={"protocol": HOSTILE, "conditions": {HOSTILE: HOSTILE}}),
        runs=(run,),
        pushes=run.pushes,
        runs_table=result.runs_table.head(1).assign(run=HOSTILE, reason=HOSTILE, usable=False),
    )
    page = summary_page(hostile)
    shown = 'a[U+202E]b\u2400\u241b[2J<svg onload="x">&amp;\'{{ 7 * 7 }}{0}[U+2066]'
    assert words(page).count(shown) >= 5
    assert '<svg onload="x">' not in page
    assert not re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]", page)
