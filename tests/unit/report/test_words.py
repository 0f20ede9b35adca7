import numpy as np
import pytest

from imustride.report.words import interval, label, number, unit, unit_of


@pytest.mark.parametrize(
    ("value", "of", "shown"),
    [
        (0.31249, "s", "0.312"),
        (512.6, "deg/s", "513"),
        (-0.04, "deg", "0.0"),
        (-2.5, "%", "−2.5"),
        (np.nan, "s", "–"),
    ],
)
def test_decimals_follow_the_unit(value, of, shown):
    assert number(value, of) == shown


def test_a_sign_is_shown_where_direction_matters():
    assert number(2.0, "%", sign=True) == "+2.0"
    assert number(0.0, "%", sign=True) == "0.0"
    assert interval(-1.0, 2.0, "%") == "−1.0 to +2.0"
    assert interval(np.nan, 2.0, "%") == "–"


def test_names_lose_their_unit():
    assert label("blade_speed_m_s") == "blade speed"
    assert label("lateral_travel_m") == "lateral travel"
    assert label("contact_time_s") == "contact time"
    assert unit("deg/s") == "°/s"
    assert unit_of("start_behind_m") == "m"
    assert unit_of("stick") == ""
