"""Numbers as the page shows them: units converted on paper, decimals by the uncertainty."""

import numpy as np
import pytest

from imustride.report.amounts import Amounts, kept_decimals
from imustride.report.catalogue import catalogue

METRIC = Amounts(catalogue("en"))
IMPERIAL = Amounts(catalogue("en"), "imperial")
FRENCH = Amounts(catalogue("fr"))


@pytest.mark.parametrize(
    ("value", "of", "shown"),
    [
        # 1 ft = 0.3048 m, 1 in = 0.0254 m, 1 mile = 1609.344 m by definition (1959).
        (30.48, "m", "100.00\N{NO-BREAK SPACE}ft"),
        (0.3048, "m", "1.00\N{NO-BREAK SPACE}ft"),
        (0.0254, "across", "1.0\N{NO-BREAK SPACE}in"),
        (0.5, "across", "19.7\N{NO-BREAK SPACE}in"),  # 0.5 / 0.0254 = 19.685
        (1609.344 / 3600, "m/s", "1.00\N{NO-BREAK SPACE}mph"),
        (8.5, "m/s", "19.01\N{NO-BREAK SPACE}mph"),  # 8.5 x 3600 / 1609.344 = 19.0140
        (0.25, "s", "0.250\N{NO-BREAK SPACE}s"),
        (12.34, "deg", "12.3°"),
    ],
)
def test_feet_inches_and_miles(value, of, shown):
    assert IMPERIAL.amount(value, of) == shown


@pytest.mark.parametrize(
    ("uncertainty", "most", "kept"),
    [
        (0.004, 3, 3),
        (0.014, 3, 3),  # begins with 1: two digits of it
        (0.042, 3, 2),
        (0.29, 3, 2),
        (0.3, 3, 1),
        (4.0, 1, 0),
        (15.0, 1, 0),
        (40.0, 1, -1),
        (0.0001, 2, 2),  # never finer than the unit's own
        (np.nan, 2, 2),
        (0.0, 2, 2),
    ],
)
def test_the_uncertainty_decides_the_decimals(uncertainty, most, kept):
    assert kept_decimals(uncertainty, most) == kept


@pytest.mark.parametrize(
    ("value", "of", "within", "shown"),
    [
        (0.0175, "ms", 0.05, "20"),  # 17.5 ms known to 50 ms
        (0.0175, "ms", 0.012, "18"),
        (-0.0042, "ms", 0.02, "−4"),
        (604.4, "deg/s", 45.0, "600"),
        (-0.04, "deg", np.nan, "0.0"),
        (np.nan, "s", np.nan, "–"),
        (np.inf, "s", np.nan, "–"),
    ],
)
def test_numbers_are_no_finer_than_they_are_known(value, of, within, shown):
    assert METRIC.number(value, of, within) == shown


def test_the_uncertainty_is_converted_with_the_value():
    # 5.50 m known to 0.2 m: 18.04 ft known to 0.66 ft.
    assert METRIC.number(5.504, "m", 0.2) == "5.50"
    assert IMPERIAL.number(5.504, "m", 0.2) == "18.1"


def test_french_has_a_decimal_comma():
    assert FRENCH.amount(4.944, "s", 0.042) == "4,94\N{NO-BREAK SPACE}s"
    assert FRENCH.between(-0.01, 0.03, "ms") == "−10 à +30\N{NO-BREAK SPACE}ms"


def test_an_interval_is_as_fine_as_its_half_width():
    assert METRIC.between(-0.0277, 0.0645, "ms") == "−30 to +60\N{NO-BREAK SPACE}ms"
    assert METRIC.between(0.0063, 0.0521, "ms", sign=False) == "6 to 52\N{NO-BREAK SPACE}ms"
    assert METRIC.between(np.nan, 0.1, "s") == "–"


def test_a_unit_nobody_foresaw_is_shown_as_it_is():
    assert METRIC.amount(1.5, "m/s^3") == "1.500\N{NO-BREAK SPACE}m/s^3"
