"""A real browser, what it is told to do with a page, and the pages it is shown."""

import dataclasses
import json
import os
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from selenium import webdriver

from imustride.pipeline import analyse_session
from imustride.report import summary_page
from imustride.report.index import Line, index_line, index_page
from tests.browser.printing import print_to_pdf

ROOT = Path(__file__).parents[2]
TELEPHONE_PX, DESK_PX = 360, 1280
TURNED = "\N{RIGHT-TO-LEFT OVERRIDE}"
HOSTILE = f"<img src=x onerror=alert(1)>\"'`&amp;</style></td>{TURNED}\x1b\x07]]>{{{{7*7}}}}"


class Opened:
    """A page in the browser, with the addresses it asked for besides its own."""

    def __init__(self, browser, name, path):
        self.browser, self.name = browser, name
        self.wide(TELEPHONE_PX)
        for kind in ("performance", "browser"):  # what earlier pages left
            browser.get_log(kind)
        browser.get(path.as_uri())
        events = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
        asked = [e["params"]["request"]["url"] for e in events if e["method"] == "Network.requestWillBeSent"]
        self.own = asked.count(path.as_uri())
        self.others = [url for url in asked if url != path.as_uri()]
        self.complaints = browser.get_log("browser")

    def wide(self, width_px, media=""):
        size = {
            "width": width_px,
            "height": 740,
            "deviceScaleFactor": 1,
            "mobile": width_px < DESK_PX,
        }  # only the desk has a scroll bar that takes room
        self.browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        self.browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": media})

    def unfold(self, unfolded):
        self.run("document.querySelectorAll('details').forEach(d => { d.open = arguments[0] })", unfolded)

    def run(self, script, *arguments):
        return self.browser.execute_script(script, *arguments)

    def printed(self, paper):
        return print_to_pdf(self.browser, paper)


@pytest.fixture(scope="session")
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


@pytest.fixture(scope="session")
def axe(lacks):
    """Give the script of the accessibility checker."""
    path = Path(os.environ.get("IMUSTRIDE_AXE", ""))
    if not path.is_file():
        lacks("no axe-core found; `npm install axe-core`, then set IMUSTRIDE_AXE to its axe.min.js")
    return path.read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def pages(result):
    """Texts of the pages, by what is special about them."""
    alone = dataclasses.replace(result, runs=result.runs[:1])
    alone = dataclasses.replace(
        alone, pushes=result.runs[0].pushes, runs_table=result.runs_table[:1], symmetry=unclear(result)
    )
    return {
        "clean": summary_page(result),
        "demo": summary_page(analyse_session(ROOT / "recordings" / "demo")),
        "french": summary_page(result, "fr", "imperial"),
        "one run": summary_page(alone),
        "all unclear": summary_page(dataclasses.replace(result, symmetry=unclear(result))),
        "no gates": summary_page(untimed(result)),
        "hostile": summary_page(hostile(result)),
        "list": index_page(
            [
                index_line(result, "one", "en", "metric"),
                index_line(hostile(result), f"a/#? {HOSTILE}", "en", "metric"),
                Line(HOSTILE),
            ],
            "en",
        ),
    }


def unclear(result):
    measured = result.symmetry["verdict"] != "not measured"
    return result.symmetry.assign(
        verdict=result.symmetry["verdict"].where(~measured, "unclear"),
        advice=result.symmetry["advice"].where(~measured, "more_runs"),
    )


def untimed(result):
    runs = tuple(dataclasses.replace(run, gates=None, paths={}, body=None) for run in result.runs)
    return dataclasses.replace(result, runs=runs, runs_table=result.runs_table.assign(gate_time_s=np.nan))


def hostile(result):
    """Bad text wherever a name or a reason of a file can come from, past every check of ours."""
    sensors = tuple(sensor.model_copy(update={"device": HOSTILE}) for sensor in result.session.sensors)
    session = result.session.model_copy(
        update={
            "athlete": HOSTILE,
            "protocol": HOSTILE,
            "conditions": {HOSTILE: HOSTILE, "remark": HOSTILE},
            "sensors": sensors,
            "consent": None,
        }
    )
    names = [f"{HOSTILE}-{number}" for number, _ in enumerate(result.runs)]
    runs = tuple(
        dataclasses.replace(
            run,
            name=name,
            reason=run.reason and HOSTILE,
            notes=(HOSTILE,),
            pushes=run.pushes.assign(run=name),
        )
        for run, name in zip(result.runs, names, strict=True)
    )
    reasons = [run.reason for run in runs]
    return dataclasses.replace(
        result,
        session=session,
        runs=runs,
        pushes=pd.concat([run.pushes for run in runs], ignore_index=True),
        runs_table=result.runs_table.assign(run=names, reason=reasons),
        notes=(f"{HOSTILE}.csv: {HOSTILE}",),
    )


@pytest.fixture(scope="session")
def shown(browser, pages, tmp_path_factory):
    """Open one of the pages."""
    folder = tmp_path_factory.mktemp("pages")

    def show(name):
        path = folder / f"{name.replace(' ', '_')}.html"
        path.write_text(pages[name], encoding="utf-8", newline="\n")
        return Opened(browser, name, path)

    return show
