"""Every check of sensors keeps the contract of its stage."""

import inspect

import pytest

from imustride.registry import methods

CHECKS = methods("checking")


@pytest.mark.parametrize("name", CHECKS)
def test_descriptor(name):
    check = CHECKS[name]
    assert check.name == name
    assert check.question.endswith("?")
    assert check.source
    assert check.of in {"sensor", "recording"}
    assert check.mended_by in {"recording", "declaring"}
    assert list(inspect.signature(check.judge).parameters) == ["view", "limits"]


def test_places_in_the_table_are_unique():
    orders = [check.order for check in CHECKS.values()]
    assert len(set(orders)) == len(orders)


def test_all_that_was_asked_for_is_there():
    assert set(CHECKS) >= {
        "rate", "jitter", "gaps", "range", "clipping", "bandwidth", "noise", "gravity", "gyro", "axes", "tilt",
        "sides", "loose", "shocks", "clock", "calibration", "log_end", "protocol",
    }  # fmt: skip
