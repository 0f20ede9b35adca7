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

from imustride.pipeline import analyse_session, simulate
from imustride.report import summary_page
from imustride.report.index import Line, index_line, index_page
from imustride.report.measures import measures
from imustride.session import Sensor
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
def demo():
    return analyse_session(ROOT / "recordings" / "demo")


@pytest.fixture(scope="session")
def worn(tmp_path_factory):
    """Two simulated runs with sensors on the whole body."""
    folder = tmp_path_factory.mktemp("worn") / "session"
    simulate(folder, runs=2, seed=77, body=True)
    return analyse_session(folder)


@pytest.fixture(scope="session")
def pages(result, demo, worn):
    """Texts of the pages, by what is special about them."""
    alone = dataclasses.replace(result, runs=result.runs[:1])
    alone = dataclasses.replace(
        alone, pushes=result.runs[0].pushes, runs_table=result.runs_table[:1], symmetry=unclear(result)
    )
    return {
        "clean": summary_page(result),
        "demo": summary_page(demo),
        "spoiled": summary_page(spoiled(demo)),
        "one skate": summary_page(one_skate(demo)),
        "eight runs": summary_page(eight(demo)),
        "eight in French": summary_page(eight(demo), "fr", "imperial"),
        "body": summary_page(embodied(demo), "fr"),
        "worn": summary_page(worn),
        "worn in French": summary_page(worn, "fr", "imperial"),
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


SPOILED = (
    "the left skate does not run the way its forward axis points: its axes are declared wrongly, or forward was not found; "
    "check the mounting; the angular velocity of the left sensor is cut off in 6 of 6 push-offs; set a larger range"
)
STUMBLE = (
    "the rhythm breaks at push 4 right (465.28 s): contact 1.18 s, 0.63 s by the run's own trend (a stumble?)"
)
NOTE = (
    "the motion does not fit blades that run along themselves: a sensor turned, or its data are poor: what rests on the "
    "path stays empty"
)
CONDITIONS = {
    "start_behind_m": 0.76,
    "sharpened": "yesterday evening, 13 mm hollow",
    "stick": False,
    "boots": "own, new laces",
    "warm_up": "20 min, two starts",
}


def put_together(result, runs):
    """A result of other runs, with the comparison of the old ones."""
    old = result.runs_table.set_index("run")
    rows = [
        {**old.iloc[place % len(old)], "run": run.name, "usable": run.usable, "reason": run.reason}
        for place, run in enumerate(runs)
    ]
    pushes = pd.concat([run.pushes for run in runs], ignore_index=True)
    return dataclasses.replace(
        result,
        runs=tuple(runs),
        runs_table=pd.DataFrame(rows, columns=result.runs_table.columns),
        pushes=pushes,
    )


def spoiled(result):
    first, *others = result.runs
    return put_together(result, [dataclasses.replace(first, usable=False, reason=SPOILED), *others])


def one_skate(result):
    """As it is where the right skate had no sensor."""
    runs = [
        dataclasses.replace(
            run,
            pushes=run.pushes[run.pushes["side"] == "left"],
            paths={"left": run.paths["left"]},
            kinematics={"left": run.kinematics["left"]},
            notes=("only the left skate was measured: nothing across the feet",),
        )
        for run in result.runs
    ]
    symmetry = result.symmetry.assign(verdict="not measured", advice="no_pairs")
    return dataclasses.replace(put_together(result, runs), symmetry=symmetry)


def eight(result):
    """Eight runs of which four do not count for long reasons, a remark, and many conditions."""
    reasons = {1: SPOILED, 2: STUMBLE, 4: SPOILED, 5: SPOILED}
    runs = [
        dataclasses.replace(
            run := result.runs[(0, 1, 3)[place % 3]],
            name=f"run-{place + 1}",
            pushes=run.pushes.assign(run=f"run-{place + 1}"),
            usable=place not in reasons,
            reason=reasons.get(place, ""),
            notes=(NOTE,) if place == 5 else (),
        )
        for place in range(8)
    ]
    session = result.session.model_copy(update={"conditions": CONDITIONS})
    return dataclasses.replace(put_together(result, runs), session=session)


def embodied(result):
    """The rest of the body measured too: every metric that the page shows of it, with a difference."""
    names = [one.name for one in measures().values() if one.place == "body"]
    like = result.symmetry[result.symmetry["metric"] == "edge_angle_deg"]
    rows = [like.assign(metric=name) for name in names]
    session = result.session.model_copy(
        update={"sensors": (*result.session.sensors, Sensor(place="left_thigh", device="S9"))}
    )
    values = dict.fromkeys(names, result.pushes["edge_angle_deg"])
    return dataclasses.replace(
        result,
        session=session,
        symmetry=pd.concat([result.symmetry, *rows], ignore_index=True),
        pushes=result.pushes.assign(**values),
    )


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
