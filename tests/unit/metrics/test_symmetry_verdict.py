import numpy as np
import pytest

from imustride.metrics.symmetry_interval import RandomError
from imustride.metrics.symmetry_verdict import advice, default_smallest, verdict


@pytest.mark.parametrize(
    ("estimate", "half_width", "smallest", "expected"),
    [
        (6.0, 4.0, 5.0, "right larger"),
        (-6.0, 4.0, 5.0, "left larger"),
        (5.0, 4.0, 5.0, "right larger"),  # reaches
        (6.0, 6.0, 5.0, "unclear"),  # touches zero
        (4.0, 3.0, 5.0, "unclear"),  # without zero, yet too small, and not all inside
        (1.0, 3.0, 5.0, "alike"),
        (-2.0, 1.0, 5.0, "alike"),  # without zero and inside
        (1.0, 4.0, 5.0, "unclear"),
        (1.0, np.nan, 5.0, "unclear"),
        (0.1, 0.01, np.nan, "right larger"),
        (0.01, 0.1, np.nan, "unclear"),
    ],
)
def test_verdict(estimate, half_width, smallest, expected):
    assert verdict(estimate, half_width, smallest) == expected


@pytest.mark.parametrize(
    ("by_index", "unit", "value"), [(True, "s", 5.0), (False, "deg", 2.0), (False, "furlong", np.nan)]
)
def test_default_smallest_difference(by_index, unit, value):
    found = default_smallest(by_index=by_index, unit=unit)
    assert found.value == pytest.approx(value, nan_ok=True)
    assert found.source == ("" if np.isnan(value) else "convention, no source")


def error(run_sd, runs, per_run=3):
    return RandomError(np.ones(1), np.array([run_sd / np.sqrt(runs)]), per_run * runs - 1, run_sd**2)


def test_advised_runs_bring_the_half_width_below_the_estimate():
    word, needed = advice(6.0, error(5.0, 2), 0.0, 5.0, 2)
    assert word == "more_runs"
    assert error(5.0, needed).half_width() < 6.0 < error(5.0, needed - 1).half_width()


def test_advice_counts_the_systematic_part():
    _, without = advice(6.0, error(5.0, 2), 0.0, 5.0, 2)
    _, needed = advice(6.0, error(5.0, 2), 2.0, 5.0, 2)
    assert needed > without


def test_a_systematic_part_too_wide_by_itself_asks_for_calibration():
    assert advice(6.0, error(5.0, 2), 3.1, 5.0, 2) == ("better_calibration", None)
    assert advice(6.0, error(5.0, 2), 3.0, 5.0, 2)[0] == "more_runs"


def test_a_difference_just_below_the_smallest_is_told_by_no_number_of_runs():
    assert advice(4.0, error(1.0, 4), 0.0, 5.0, 4) == ("near_smallest_difference", None)


def test_a_hopeless_number_of_runs_is_not_advised():
    assert advice(5.5, error(40.0, 1), 0.0, 5.0, 1) == ("more_runs", None)
