"""Every number on the page is the one in the tables, rounded: read back from the produced page."""

import dataclasses
import math
from html.parser import HTMLParser

import numpy as np
import pytest

from imustride.report import summary_page
from imustride.report.rows import compared

FOOT_M, INCH_M, MPH_M_S = 0.3048, 0.0254, 1609.344 / 3600
METRIC = {"m": 1.0, "m/s": 1.0, "s": 1.0, "ms": 0.001, "°": 1.0, "°/s": 1.0, "%": 1.0, "": 1.0}
UNITS = METRIC | {"ft": FOOT_M, "in": INCH_M, "mph": MPH_M_S}
PUSHES = {
    "on the ice": "contact_time_s",
    "to the other landing": "step_time_s",
    "lands": "blade_on_s",
    "leaves": "blade_off_s",
    "toe-down turn": "push_off_angular_velocity_deg_s",
    "edge": "edge_angle_deg",
    "length of two pushes": "stride_length_m",
    "length per push": "step_length_m",
    "sideways": "lateral_travel_m",
    "blade speed": "blade_speed_m_s",
}


class Tables(HTMLParser):
    """Tables of a page as rows of texts, by the name of their region."""

    def __init__(self, page):
        super().__init__()
        self.found, self.name, self.cell = {}, None, None
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        label = dict(attrs).get("aria-label")
        if tag == "div" and label:
            self.name = label
            while self.name in self.found:
                self.name += " again"
            self.found[self.name] = []
        if tag == "tr":
            self.found[self.name].append([])
        if tag in {"td", "th"}:
            self.cell = ""

    def handle_endtag(self, tag):
        if tag in {"td", "th"}:
            self.found[self.name][-1].append(" ".join(self.cell.split()))
            self.cell = None

    def handle_data(self, data):
        if self.cell is not None:
            self.cell += data


def same(text, value, decimal=".", unit=None):
    """Whether a printed number with its unit is a value of the tables, to half of its last digit."""
    if text == "–":
        return not math.isfinite(value)
    number, _, of = text.replace("\N{NO-BREAK SPACE}", " ").partition(" ")
    if number.endswith(("°", "°/s")):
        number, of = number.rstrip("°/s"), number.lstrip("−+0123456789.,")
    plain = number.replace("\N{MINUS SIGN}", "-").replace(decimal, ".")
    factor = UNITS[unit or of]
    last = 10.0 ** -len(plain.partition(".")[2])
    if "." not in plain:  # tens and hundreds end in zeros
        last = 10.0 ** (len(plain) - len(plain.rstrip("0"))) if plain.strip("-+0") else 1.0
    return abs(float(plain) * factor - value) <= 0.5000001 * last * factor


@pytest.fixture(scope="module")
def full(result):
    """The result with ways and speeds too."""
    rng = np.random.default_rng(4)
    size = len(result.pushes)
    pushes = result.pushes.assign(
        step_length_m=rng.uniform(1, 3, size),
        step_length_m_sd=0.04,
        stride_length_m=rng.uniform(2, 6, size),
        stride_length_m_sd=0.11,
        lateral_travel_m=rng.uniform(0, 1, size),
        lateral_travel_m_sd=0.03,
        blade_speed_m_s=rng.uniform(3, 9, size),
    )
    runs = result.runs_table.assign(peak_speed_m_s=[8.512, 8.437, np.nan], peak_speed_m_s_sd=0.13)
    return dataclasses.replace(result, pushes=pushes, runs_table=runs)


@pytest.fixture(scope="module", params=[("en", "metric"), ("en", "imperial")])
def tables(request, full):
    return Tables(summary_page(full, *request.param)).found


def test_every_push(tables, full):
    headings, *rows = tables["Table: Every push of the skates"]
    assert len(rows) == len(full.pushes)
    checked = 0
    for place, heading in enumerate(headings):
        name, _, unit = heading.partition(" [")
        if name not in PUSHES:
            continue
        for row, value in zip(rows, full.pushes[PUSHES[name]], strict=True):
            assert same(row[place], float(value), unit=unit.rstrip("]"))
            checked += 1
    assert checked >= 9 * len(rows)


def test_runs(tables, full):
    _, *rows = tables["Table: Which runs count"]
    for row, run in zip(rows, full.runs_table.to_dict("records"), strict=True):
        assert row[0] == run["run"]
        assert same(row[2], run["gate_time_s"])
        assert row[3] == f"{run['pushes_left']}, {run['pushes_right']}"
        assert same(row[4].partition(" ")[0], run["step_rate_hz"], unit="")


def test_speeds(tables, full):
    _, *rows = tables["Table: Speed"]
    for row, run in zip(rows, full.runs_table.to_dict("records"), strict=True):
        value, _, unit = row[1].replace("\N{NO-BREAK SPACE}", " ").partition(" ±")
        assert same(value if value == "–" else f"{value} {unit.split()[1]}", run["peak_speed_m_s"])


def test_left_and_right(tables, full):
    rows = [row for name in tables if "left and right" in name.lower() for row in tables[name][1:]]
    expected = compared(full.symmetry).to_dict("records")
    first = [
        row for row in expected if row["metric"] in {"contact_time_s", "push_off_angular_velocity_deg_s"}
    ]
    ordered = first + [row for row in expected if row not in first]
    assert len(rows) == len(ordered) >= 4
    for row, table in zip(rows, ordered, strict=True):
        assert same(row[2].partition(" (")[0], table["left_mean"])
        assert same(row[3].partition(" (")[0], table["right_mean"])
        difference, _, interval = row[4].replace("\N{NO-BREAK SPACE}", " ").partition(" (")
        assert same(difference, table["difference"])
        low, _, high = interval.rstrip(")").partition(" to ")
        unit = "" if high.endswith("°/s") else " " + high.partition(" ")[2]
        assert same(low + (unit or "°/s"), table["difference_ci_low"])
        assert same(high, table["difference_ci_high"])
        sizes = f"{table['n_left']}, {table['n_right']}; {table['n_runs']}"
        assert row[6].endswith(sizes)


def test_the_decimal_sign_follows_the_language(full):
    rows = Tables(summary_page(full, "fr")).found["Tableau\N{NO-BREAK SPACE}: Quels essais comptent"]
    assert same(rows[1][2], 4.832, ",")
    assert "," in rows[1][2]


def test_same_can_fail():
    assert same("−18 ms", -0.0183)
    assert not same("−18 ms", -0.0187)
    assert same("12.53 ft", 3.82)
    assert not same("12.56 ft", 3.82)
    assert same("−30°/s", -27.7)
    assert not same("600°/s", 655.0)
