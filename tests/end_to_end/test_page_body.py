"""The page of a session with sensors on the whole body: small, and every number that of the tables."""

import json
import math
import re

import numpy as np
import pandas as pd
import pytest

from imustride import pipeline
from imustride.report import summary_page
from imustride.report.amounts import Amounts
from imustride.report.catalogue import catalogue
from imustride.report.files import Page
from imustride.report.gallery import gallery
from imustride.report.levels import GROUPS, PHASES, level_groups
from imustride.report.measures import measures
from imustride.report.pictures import PICTURES

MOST_BYTES = 300_000
NUMBER = re.compile(
    r"^([\d.]+)(?:\xa0(ahead|behind|outside|inside|inward|back|before|after))?\xa0±([\d.]+) \(n\xa0(\d+)\)$"
)
BELOW = {"behind", "inside", "inward", "back", "before"}
# What one of the unit shown is in the unit of the column.
UNITS = {"°": 1.0, "cm": 0.01, "ms": 0.001, "%": 0.01}


@pytest.fixture(scope="module")
def session(tmp_path_factory):
    """Six runs, one of them spoiled, sensors everywhere."""
    folder = tmp_path_factory.mktemp("worn") / "session"
    pipeline.simulate(folder, runs=6, seed=77, body=True)
    return pipeline.analyse_session(folder)


@pytest.mark.parametrize(("language", "units"), [("en", "metric"), ("fr", "imperial")])
def test_the_page_of_six_runs_stays_small(session, language, units):
    assert len(session.runs) == 6
    assert len(session.pushes) > 90
    assert len(summary_page(session, language, units).encode()) < MOST_BYTES


def test_every_level_is_that_of_the_table_of_pushes(session):
    usable = {run.name for run in session.runs if run.usable}
    assert len(usable) == 5
    pushes = session.pushes[session.pushes["run"].isin(usable) & (session.pushes["push"] > 0)]
    pushes = pushes[~pushes["flags"].str.contains("standing_start")]
    rows = [row for group in level_groups(session, Amounts(catalogue("en"))) for row in group["rows"]]
    names = [one.name for group in GROUPS for one in measures().values() if one.level == group]
    assert len(rows) == len(names) >= 22
    for name, (title, *cells) in zip(names, rows, strict=True):
        per = UNITS[title.rpartition(" [")[2].rstrip("]")]
        for cell, (phase, side) in zip(
            cells, [(p, s) for p in PHASES for s in ("left", "right")], strict=True
        ):
            values = pushes[name][(pushes["phase"] == phase) & (pushes["side"] == side)].dropna()
            mean, word, sd, n = NUMBER.match(cell).groups()
            assert int(n) == len(values)
            signed = -float(mean) if word in BELOW else float(mean)
            half = 0.5 * per * 10.0 ** -len(mean.partition(".")[2]) * 1.000001
            if "." not in mean and values.std() / math.sqrt(len(values)) / per >= 3:
                half *= 10 ** (len(mean) - len(mean.rstrip("0")))
            assert abs(signed * per - values.mean()) <= half, (name, cell)
            assert abs(float(sd) * per - values.std(ddof=1)) <= half, (name, cell)


def test_pictures_of_legs_and_body_are_there_with_their_numbers(session):
    shown = {one["name"]: one for one in gallery(session, Amounts(catalogue("en")))}
    assert {"leg", "sides-body"} <= set(shown)
    picture = next(picture for picture in PICTURES if picture.name == "leg")
    table = picture.table(session, None)
    headings, rows = shown["leg"]["table"]
    assert headings == ["foot", "at [%]", "knee bend [°]", "shin forward [°]", "pushes"]
    assert len(rows) == len(table) == 42
    for row, of in zip(rows, table.to_dict("records"), strict=True):
        assert row[0] == of["side"][0].upper()
        for cell, name in zip(row[2:4], ("knee_flexion_deg", "shank_inclination_deg"), strict=True):
            value, spread = (float(part.replace("\N{MINUS SIGN}", "-")) for part in cell.split(" ±"))
            assert abs(value - of[name]) <= 0.5
            assert abs(spread - of[f"{name}_sd"]) <= 0.5


def test_courses_begin_and_end_where_the_table_of_pushes_says(session):
    """Mean over the same pushes of the columns at blade-on and at blade-off, which are read from a grid of 4 ms."""
    picture = next(picture for picture in PICTURES if picture.name == "leg")
    table = picture.table(session, None).set_index(["side", "contact_percent"])
    usable = {run.name for run in session.runs if run.usable}
    pushes = session.pushes[session.pushes["run"].isin(usable) & (session.pushes["phase"] == "later")]
    pushes = pushes[pushes["blade_on_s"].notna() & pushes["blade_off_s"].notna()]
    for side in ("left", "right"):
        mine = pushes[pushes["side"] == side]
        assert table.loc[(side, 0), "n_pushes"] == len(mine)
        for angle in ("knee_flexion", "shank_inclination"):
            for percent, at in ((0, "on"), (100, "off")):
                mean = mine[f"{angle}_{at}_deg"].mean()
                assert table.loc[(side, percent), f"{angle}_deg"] == pytest.approx(mean, abs=0.3)


def test_the_body_is_shown_of_the_fastest_run_and_the_rest_is_named(session):
    page = summary_page(session)
    table = session.runs_table[session.runs_table["usable"]]
    fastest = table.loc[table["gate_time_s"].idxmin(), "run"]
    shown = (session.pushes["run"] == fastest).sum()
    assert (
        f"Every push: the rest of the body ({fastest}: {shown} of {len(session.pushes)} pushes; pushes.csv"
        in page
    )


def test_what_is_exported_of_the_leg_is_described(session, tmp_path):
    pipeline.write_session(session, tmp_path / "out", Page(figures=True))
    for ending in ("svg", "png", "csv"):
        assert (tmp_path / "out" / f"figure-leg.{ending}").stat().st_size > 500
    package = json.loads((tmp_path / "out" / "datapackage.json").read_text(encoding="utf-8"))
    fields = next(one["schema"]["fields"] for one in package["resources"] if one["path"] == "figure-leg.csv")
    read = pd.read_csv(tmp_path / "out" / "figure-leg.csv")
    assert [field["name"] for field in fields] == list(read)
    assert [field["name"] for field in fields if not field.get("description")] == []
    picture = next(picture for picture in PICTURES if picture.name == "leg")
    np.testing.assert_allclose(
        read["knee_flexion_deg"], picture.table(session, None)["knee_flexion_deg"], rtol=1e-5
    )
