"""The numbers under the pictures of the demo's page are those of the tables that are drawn and exported, rounded."""

import json
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from imustride import pipeline
from imustride.cli.boundary import run
from imustride.report.amounts import Amounts
from imustride.report.catalogue import catalogue
from imustride.report.files import Page
from imustride.report.gallery import gallery
from imustride.report.pictures import PICTURES

DEMO = Path(__file__).parents[2] / "recordings" / "demo"
# What one of the unit shown is in the unit of the table: international foot, inch and mile, 1959.
SHOWN = {"m": 1.0, "s": 1.0, "m/s": 1.0, "°": 1.0, "°/s": 1.0, "": 1.0}
SHOWN |= {"ft": 0.3048, "in": 0.0254, "mph": 1609.344 / 3600, "ms": 0.001}


@pytest.fixture(scope="module")
def demo():
    return pipeline.analyse_session(DEMO)


def off(text, value, unit):
    """How far a printed number is from a value, in halves of its last digit."""
    if text == "–":
        return 0.0 if not math.isfinite(value) else math.inf
    plain = text.replace("\N{MINUS SIGN}", "-").lstrip("+")
    whole, _, part = plain.partition(".")
    zeros = len(whole) - len(whole.rstrip("0")) if whole.strip("-0") else 0
    last = 10.0 ** (-len(part) if part else zeros)
    return abs(float(plain) * SHOWN[unit] - value) / (0.5 * last * SHOWN[unit])


@pytest.mark.parametrize("system", ["metric", "imperial"])
def test_every_number_under_a_picture_is_that_of_its_table(demo, system):
    shown = {one["name"]: one["table"] for one in gallery(demo, Amounts(catalogue("en"), system))}
    assert set(shown) == {picture.name for picture in PICTURES if picture.name not in {"leg", "sides-body"}}
    checked = 0
    for picture in PICTURES:
        if picture.name not in shown:  # skates alone
            continue
        headings, rows = shown[picture.name]
        table = picture.table(demo, None)
        kept = [name for name in table if not name.endswith("_sd")]
        assert len(kept) == len(headings)
        for name, heading, place in zip(kept, headings, range(len(kept)), strict=True):
            if not pd.api.types.is_numeric_dtype(table[name]):
                continue
            unit = heading.partition(" [")[2].rstrip("]")
            for row, value in zip(rows, table[name].astype(float), strict=False):
                assert off(row[place].partition(" ±")[0], value, unit) <= 1.000001
                checked += 1
    assert checked > 500


def test_off_can_fail():
    assert off("1.23", 1.2349, "m") <= 1
    assert off("1.23", 1.2361, "m") > 1
    assert off("−30", -34.9, "°/s") <= 1
    assert off("3.28", 1.0, "ft") <= 1
    assert off("–", 1.0, "m") == math.inf


def test_exported_figures_hold_the_same_numbers(demo, tmp_path):
    pipeline.write_session(demo, tmp_path / "out", Page(figures=True))
    for picture in PICTURES:
        table = picture.table(demo, None)
        if not len(table):
            continue
        read = pd.read_csv(tmp_path / "out" / f"figure-{picture.name}.csv")
        assert list(read) == list(table)
        for name in table:
            if pd.api.types.is_float_dtype(table[name]):
                np.testing.assert_allclose(read[name].astype(float), table[name], rtol=1e-5, atol=6e-6)


def test_every_column_of_an_exported_figure_is_described(demo, tmp_path):
    pipeline.write_session(demo, tmp_path / "out", Page(figures=True))
    package = json.loads((tmp_path / "out" / "datapackage.json").read_text(encoding="utf-8"))
    described = {one["path"]: one["schema"]["fields"] for one in package["resources"]}
    written = sorted(path.name for path in (tmp_path / "out").glob("figure-*.csv"))
    assert len(written) > 20
    for name in written:
        assert [field["name"] for field in described[name]] == list(pd.read_csv(tmp_path / "out" / name))
        assert [field["name"] for field in described[name] if not field.get("description")] == []


def test_the_page_and_its_tables_are_the_same_bytes_again(tmp_path):
    for out in ("one", "two"):
        assert run(["analyse", str(DEMO), "--out", str(tmp_path / out), "--quiet"]) == 0
    for name in ("summary.html", "pushes.csv", "runs.csv", "symmetry.csv", "datapackage.json"):
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()
