"""The row of runs.csv, worked out by hand."""

import numpy as np
import pandas as pd
import pytest

from imustride.kinematics import Gates
from imustride.metrics.columns import CONTRACT, in_contract_order, no_pushes, push_columns
from imustride.metrics.runs import run_row

PUSHES = pd.DataFrame(
    {
        "side": ["left", "right", "left", "right"],
        "push": [0, 1, 1, 2],
        "flags": ["standing_start;first_lift", "standing_start", "", "clipped"],
        "step_time_s": [np.nan, np.nan, 0.25, 0.35],
        "stride_time_s": [np.nan, np.nan, 0.5, 0.75],
    }
)
GATES = Gates(np.array([0.0, 10.0, 30.48]), np.array([0.0, 2.1, 4.8]))


def row(pushes=PUSHES, gates=GATES):
    return run_row("run-1", "left_skate", pushes, gates, usable=True, reason="")


def test_rates_are_one_over_the_mean_time_of_both_sides():
    assert row()["step_rate_hz"] == pytest.approx(1 / 0.3)
    assert row()["stride_rate_hz"] == pytest.approx(1.6)


def test_the_first_lift_is_no_push_and_the_last_standing_foot_starts():
    assert (row()["pushes_left"], row()["pushes_right"], row()["start_foot"]) == (1, 2, "right")


def test_gates_give_time_and_mean_speed():
    assert row()["gate_time_s"] == pytest.approx(4.8)
    assert row()["mean_speed_m_s"] == pytest.approx(6.35)


def test_without_gates_both_are_empty():
    assert np.isnan([row(gates=None)[name] for name in ("gate_time_s", "mean_speed_m_s")]).all()


def test_without_a_common_clock_nobody_knows_who_started():
    flags = ["standing_start;clocks_not_synchronised"] * 2 + ["clocks_not_synchronised"] * 2
    assert row(PUSHES.assign(flags=flags, push=[1, 1, 2, 2]))["start_foot"] == ""


def test_a_run_without_pushes_has_a_row():
    empty = row(no_pushes())
    assert (empty["pushes_left"], empty["pushes_right"], empty["start_foot"]) == (0, 0, "")
    assert np.isnan([empty["step_rate_hz"], empty["stride_rate_hz"]]).all()


def test_columns_are_those_of_the_contract_then_more_then_flags():
    assert tuple(push_columns()[: len(CONTRACT)]) == CONTRACT
    assert push_columns()[-1] == "flags"
    assert list(no_pushes().columns) == push_columns()
    assert list(in_contract_order(PUSHES).columns) == push_columns()
