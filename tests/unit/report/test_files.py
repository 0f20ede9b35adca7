"""What is written for readers on request: the PDF, and every picture with its numbers."""

import html
import io
import re
import sys

import matplotlib.image
import pandas as pd
import pytest
from pypdf import PdfReader

from imustride.errors import SettingsError
from imustride.report import pdf as pdf_module
from imustride.report import summary_page
from imustride.report.amounts import Amounts
from imustride.report.catalogue import catalogue
from imustride.report.files import Page, figure_files, page_files
from imustride.report.pictures import PICTURES


@pytest.fixture(scope="module")
def figures(result):
    return figure_files(result, Amounts(catalogue("en")))


def test_the_page_alone_is_written_unless_more_is_wanted(result):
    assert page_files(result, Page()) == {"summary.html": summary_page(result)}


def test_every_picture_of_the_session_and_of_its_runs(result, figures):
    for number, run in [(0, None), *enumerate(result.runs, 1)]:
        of = f"-run{number}" if run else ""
        for picture in PICTURES:
            names = {f"figure-{picture.name}{of}{ending}" for ending in (".svg", ".png", ".csv")}
            drawn = len(picture.table(result, run)) > 0
            assert names & set(figures) == (names if drawn else set())
    assert len(figures) >= 3 * 6


def test_numbers_are_those_drawn(result, figures):
    for picture in PICTURES:
        name = f"figure-{picture.name}.csv"
        if name in figures:
            pd.testing.assert_frame_equal(figures[name], picture.table(result, None))
    rhythm = figures["figure-rhythm-run2.csv"]
    assert set(rhythm["run"]) == {"run-2"}


def test_they_are_what_their_endings_say(figures):
    for name, content in figures.items():
        if name.endswith(".svg"):
            assert b"<svg" in content
            assert b"http://www.w3.org/2000/svg" in content
            assert b"<dc:date>" not in content
        if name.endswith(".png"):
            height, width, _ = matplotlib.image.imread(io.BytesIO(content)).shape
            assert width >= 800
            assert height > 200


def test_same_result_same_bytes(result, figures):
    again = figure_files(result, Amounts(catalogue("en")))
    for name, content in figures.items():
        if isinstance(content, bytes):
            assert again[name] == content


def test_pictures_follow_the_language(result, figures):
    french = figure_files(result, Amounts(catalogue("fr")))
    assert french["figure-rhythm.svg"] != figures["figure-rhythm.svg"]
    pd.testing.assert_frame_equal(french["figure-rhythm.csv"], figures["figure-rhythm.csv"])


@pytest.fixture(scope="module")
def page(result):
    return summary_page(result)


@pytest.fixture(scope="module")
def made(lacks):
    """Make a PDF of a page, where that can be done."""
    try:
        pdf_module.check_ready()
    except SettingsError as error:
        lacks(str(error))
    return pdf_module.pdf_page


@pytest.fixture(scope="module", params=["A4", "Letter"])
def read(request, made, page):
    return request.param, PdfReader(io.BytesIO(made(page, request.param)))


def elements(node):
    """Give every element of the tree of tags."""
    node = node.get_object()
    if isinstance(node, list):
        for one in node:
            yield from elements(one)
    elif isinstance(node, dict):
        if "/S" in node:
            yield node
        if "/K" in node:
            yield from elements(node["/K"])


def test_it_is_one_page_of_its_size(read):
    paper, reader = read
    assert len(reader.pages) == 1
    size_pt = reader.pages[0].mediabox
    assert (round(size_pt.width), round(size_pt.height)) == {"A4": (595, 842), "Letter": (612, 792)}[paper]


def test_it_is_tagged_and_says_language_and_title(read, page):
    _, reader = read
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata.title == re.search(r"<title>(.*)</title>", page)[1]
    kinds = [one["/S"] for one in elements(root["/StructTreeRoot"])]
    assert {"/H1", "/H2", "/Table", "/TH", "/TD", "/L", "/LI", "/P", "/Figure"} <= set(kinds)


def test_every_picture_has_its_alternative(read, page):
    _, reader = read
    root = reader.trailer["/Root"]["/StructTreeRoot"]
    alternatives = [one["/Alt"] for one in elements(root) if one["/S"] == "/Figure"]
    said = [html.unescape(text) for text in re.findall(r'<figure role="img" aria-label="([^"]*)"', page)]
    assert len(alternatives) >= 2
    assert set(alternatives) <= set(said)


def test_it_says_what_the_page_says_and_fetches_nothing(read):
    text = " ".join(read[1].pages[0].extract_text().split())
    assert "A07: every push, left and right" in text
    assert "In short" in text
    assert "Not a medical device." in text


def test_no_standard_is_claimed_without_a_validator(read):
    assert (
        "/Metadata" not in read[1].trailer["/Root"]
        or b"pdfuaid" not in read[1].xmp_metadata.stream.get_data()
    )


def test_same_page_same_pdf(made, page):
    assert made(page, "A4") == made(page, "A4")


@pytest.mark.usefixtures("made")
def test_units_choose_the_paper(result):
    files = page_files(result, Page(system="imperial", pdf=True))
    assert PdfReader(io.BytesIO(files["summary.pdf"])).pages[0].mediabox.height == 792


def test_a_missing_renderer_is_one_line(monkeypatch):
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(SettingsError, match=r"^--pdf: found no weasyprint.*imustride\[pdf\]") as found:
        pdf_module.check_ready()
    assert "\n" not in str(found.value)


def test_a_missing_library_of_the_system_is_one_line(monkeypatch, tmp_path, capfd):
    package = tmp_path / "weasyprint.py"
    package.write_text(
        "print('-----')\nraise OSError('cannot load library libpango:\\nmany\\nlines')\n", encoding="utf-8"
    )
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "weasyprint", raising=False)
    with pytest.raises(SettingsError, match=r"^--pdf: weasyprint lacks a library.*libpango") as found:
        pdf_module.check_ready()
    assert "\n" not in str(found.value)
    assert capfd.readouterr() == ("", "")
