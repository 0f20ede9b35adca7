"""The page in a real browser: nothing is fetched, nothing complains, nothing sticks out of a telephone."""

import json
import shutil

import pytest
from selenium import webdriver

from imustride.report import summary_page

TELEPHONE_PX = 360


@pytest.fixture(scope="module")
def browser(lacks):
    programs = [shutil.which(name) for name in ("chromium", "chromedriver")]
    if not all(programs):
        lacks("no chromium with chromedriver found; install the system packages chromium and chromium-driver")
    options = webdriver.ChromeOptions()
    options.binary_location = programs[0]
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(programs[1]))
    yield driver
    driver.quit()


@pytest.fixture(scope="module")
def opened(browser, result, tmp_path_factory):
    """Open the page as wide as a telephone; give the browser and the addresses it asked for."""
    path = tmp_path_factory.mktemp("page") / "summary.html"
    path.write_text(summary_page(result), encoding="utf-8")
    size = {"width": TELEPHONE_PX, "height": 740, "deviceScaleFactor": 1, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    browser.get(path.as_uri())
    events = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [e["params"]["request"]["url"] for e in events if e["method"] == "Network.requestWillBeSent"]
    return browser, [url for url in asked if url != path.as_uri()], len(asked)


def test_only_the_page_itself_is_loaded(opened):
    _, others, asked = opened
    assert asked >= 1
    assert others == []


def test_the_console_is_silent(opened):
    assert opened[0].get_log("browser") == []


@pytest.mark.parametrize("unfolded", [False, True])
def test_nothing_sticks_out_of_a_telephone(opened, unfolded):
    browser = opened[0]
    script = (
        "document.querySelector('details').open = arguments[0]; return document.documentElement.scrollWidth"
    )
    assert browser.execute_script(script, unfolded) == TELEPHONE_PX


def test_the_pictures_are_drawn_with_readable_letters(opened):
    script = (
        "return [...document.querySelectorAll('figure svg text')].map(t => t.getBoundingClientRect().height)"
    )
    heights = opened[0].execute_script(script)
    assert len(heights) > 20
    assert min(heights) >= 9


def test_the_colours_of_the_page_are_its_own(opened):
    """The style is applied in spite of the content policy."""
    script = "return getComputedStyle(document.querySelector('h2')).borderTopStyle"
    assert opened[0].execute_script(script) == "solid"
