"""The sheet for the boards prints on one page of A4 and of Letter."""

import base64
import re
import shutil

import pytest
from selenium import webdriver
from selenium.common.exceptions import WebDriverException

from imustride.report.sheet import SIZES, Line, sheet_page

PAPERS = {"A4": (8.27, 11.69), "Letter": (8.5, 11.0)}
DAY = "2026-10-03"


@pytest.fixture(scope="module")
def browser(lacks):
    programs = [shutil.which(name) for name in ("chromium", "chromedriver")]
    if not all(programs):
        lacks("no chromium with chromedriver found; install the system packages chromium and chromium-driver")
    options = webdriver.ChromeOptions()
    options.binary_location = programs[0]
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(programs[1]))
    yield driver
    driver.quit()


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
    width, height = PAPERS[paper]
    wanted = {"paperWidth": width, "paperHeight": height, "preferCSSPageSize": True}
    printed = base64.b64decode(print_to_pdf(browser, wanted)["data"])
    return len(re.findall(rb"/Type\s*/Page\b", printed))


def print_to_pdf(browser, wanted, attempts=5):
    """On a busy machine the browser's printing process is not always there at the first call."""
    for attempt in range(attempts):
        try:
            return browser.execute_cdp_cmd("Page.printToPDF", wanted)
        except WebDriverException as error:
            if "Printing failed" not in str(error) or attempt == attempts - 1:
                raise
    return None


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(("count", "runs"), [(1, 1), *((most, 3) for most, _ in SIZES), (20, 4)])
def test_it_prints_on_one_page(browser, tmp_path, paper, count, runs):
    assert pages(browser, tmp_path, sheet_page(DAY, "sprint-100ft", lines(count, runs)), paper) == 1


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
