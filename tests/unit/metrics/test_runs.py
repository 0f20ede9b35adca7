"""The row of runs.csv, worked out by hand."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from imustride.kinematics import BodyPath, Gates
from imustride.metrics.columns import CONTRACT, in_contract_order, no_pushes, push_columns
from imustride.metrics.profile import GATE_SD_S
from imustride.metrics.runs import run_row, run_table

PUSHES = pd.DataFrame(
    {
        "side": ["left", "right", "left", "right"],
        "push": [0, 1, 1, 2],
        "flags": ["standing_start;first_lift", "standing_start", "", "clipped"],
        "step_time_s": [np.nan, np.nan, 0.25, 0.35],
        "stride_time_s": [np.nan, np.nan, 0.5, 0.75],
        "arm_push_phase_deg": [90.0, 170.0, 20.0, -170.0],
    }
)
GATES = Gates(np.array([0.0, 10.0, 30.48]), np.array([0.0, 2.1, 4.8]))


def row(pushes=PUSHES, gates=GATES):
    return run_row("run-1", "left_skate", pushes, gates, usable=True, reason="")


def test_phases_of_the_arm_have_the_mean_of_directions():
    """By hand: right 170 and -170 degrees point to 180, their resultant is cos 10; the first lift, left, does not count."""
    found = row()
    assert found["arm_push_phase_left_deg"] == pytest.approx(20.0)
    assert found["arm_push_phase_left_alike_ratio"] == pytest.approx(1.0)
    assert abs(found["arm_push_phase_right_deg"]) == pytest.approx(180.0)
    assert found["arm_push_phase_right_alike_ratio"] == pytest.approx(np.cos(np.radians(10)))
    empty = row(PUSHES.assign(arm_push_phase_deg=np.nan))
    assert np.isnan([empty["arm_push_phase_left_deg"], empty["arm_push_phase_right_alike_ratio"]]).all()


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


# A sprint on paper: stance to 2 s of the clock, then v = 9 (1 - exp(-(t - 2) / 1.3)), x = 9 (t - 2) - 11.7 (1 - exp(-(t - 2) / 1.3)).
V_MAX_M_S, TAU_S, START_S, LAST_OFF_S = 9.0, 1.3, 2.0, 7.0


def way_m(since_s):
    return V_MAX_M_S * (since_s - TAU_S * (1 - np.exp(-since_s / TAU_S)))


def sprint(gate_s=(), gate_m=()):
    """Body that still speeds up after the last blade-off; the place is known to 5 % of itself, the speed to 0.1 m/s."""
    time_s = np.arange(START_S, 8.0, 0.02)
    since = time_s - START_S
    speed = V_MAX_M_S * (1 - np.exp(-since / TAU_S))
    place, nothing = way_m(since), np.zeros((len(time_s), 1))
    gates = np.asarray(gate_m, float), np.asarray(gate_s, float)
    return BodyPath(
        time_s,
        place,
        speed,
        np.full(len(time_s), 0.1),
        0.05 * place[:, None],
        nothing,
        *gates,
        np.zeros(len(gate_s)),
    )


def steps():
    """Twelve steps, one every 0.4 s: 1.0 m and later 2.0 m long; the speed doubles by length alone."""
    order = np.arange(12)
    return pd.DataFrame({
        "side": np.where(order % 2 == 0, "left", "right"),
        "push": order // 2 + 1,
        "phase": np.where(order < 6, "acceleration", "later"),
        "flags": "",
        "blade_off_s": np.linspace(2.6, LAST_OFF_S, 12),
        "step_time_s": 0.4,
        "stride_time_s": 0.8,
        "arm_push_phase_deg": np.nan,
        "step_length_m": np.where(order < 6, 1.0, 2.0),
        "step_length_m_sd": 0.01,
    })  # fmt: skip


def test_the_peak_is_the_largest_speed_up_to_the_last_blade_off():
    found = run_row("run-1", "left_skate", steps(), None, usable=True, reason="", body=sprint())
    # After 5 s: 9 (1 - exp(-5 / 1.3)) = 8.8078; the body goes on to 8.91 by 7.98 s, which does not count.
    # It gains 0.148 m/s a second there: within one node of 20 ms.
    assert found["peak_speed_m_s"] == pytest.approx(8.8078, abs=0.0031)
    assert found["peak_speed_m_s_sd"] == pytest.approx(0.1)


def test_without_gates_the_way_to_the_last_blade_off_gives_the_mean():
    found = run_row("run-1", "left_skate", steps(), None, usable=True, reason="", body=sprint())
    # 9 x 5 - 11.7 (1 - exp(-3.84615)) = 45 - 11.4501 = 33.5499 m in 5 s; known to 5 % of it.
    assert found["distance_m"] == pytest.approx(33.5499, abs=1e-3)
    assert found["distance_m_sd"] == pytest.approx(1.6775, abs=1e-3)
    assert found["mean_speed_m_s"] == pytest.approx(6.70998, abs=1e-3)
    assert found["mean_speed_m_s_sd"] == pytest.approx(0.3355, abs=1e-3)


def test_at_the_gates_the_body_has_its_speed_and_its_way():
    # It passes 3 and 6 s after the start; the timing system says 3.02 s between.
    gates = Gates(np.array([0.0, 26.0]), np.array([0.0, 3.02]))
    body = sprint(gate_s=[5.0, 8.0 - 0.04], gate_m=way_m(np.array([3.0, 5.96])))
    found = run_row("run-1", "left_skate", steps(), gates, usable=True, reason="", body=body)
    assert found["split_1_s"] == pytest.approx(3.02)
    assert "split_2_s" not in found
    # 9 (1 - exp(-3 / 1.3)) = 8.1047, 9 (1 - exp(-5.96 / 1.3)) = 8.9081.
    assert found["gate_1_speed_m_s"] == pytest.approx(8.1047, abs=1e-3)
    assert found["gate_2_speed_m_s"] == pytest.approx(8.9081, abs=1e-3)
    # At the first it gains 9 / 1.3 exp(-3 / 1.3) = 0.6887 m/s a second, and 0.12 m are 0.12 / 8.1047 = 0.0148 s: with the
    # 0.1 s of averaging 0.1011 s, so 0.0696 m/s. At the second 9 / 1.3 exp(-5.96 / 1.3) = 0.0707, 0.1009 s: 0.0071 m/s.
    assert found["gate_1_speed_m_s_sd"] == pytest.approx(np.hypot(0.1, 0.0696), abs=1e-4)
    assert found["gate_2_speed_m_s_sd"] == pytest.approx(np.hypot(0.1, 0.0071), abs=1e-4)
    # The finish is the last gate, beyond the last blade-off: 9 x 5.96 - 11.7 (1 - exp(-4.58462)) = 42.0594 m.
    assert found["distance_m"] == pytest.approx(42.0594, abs=1e-3)
    assert found["mean_speed_m_s"] == pytest.approx(26 / 3.02)
    assert found["mean_speed_m_s_sd"] == pytest.approx(26 / 3.02**2 * np.sqrt(2) * GATE_SD_S)


def test_the_profile_is_that_of_the_speed_where_there_is_a_path():
    gates = Gates(np.array([0.0, 5.0, 15.0, 30.48]), np.array([0.0, 1.3, 2.6, 4.2]))
    found = run_row("run-1", "left_skate", steps(), gates, usable=True, reason="", body=sprint())
    assert found["profile_from"] == "speed"
    assert found["profile_v_max_m_s"] == pytest.approx(V_MAX_M_S, rel=1e-3)
    assert found["profile_tau_s"] == pytest.approx(TAU_S, rel=1e-3)


def test_what_all_speeds_share_is_carried_to_the_profile():
    """One per cent of every speed is one per cent of the maximum and nothing of the time constant: 0.1 s of averaging."""
    body = sprint()
    body = replace(body, speed_sd_m_s=0.01 * body.speed_m_s)
    found = run_row("run-1", "left_skate", steps(), None, usable=True, reason="", body=body)
    assert found["profile_v_max_m_s_sd"] == pytest.approx(0.01 * V_MAX_M_S, rel=1e-3)
    assert found["profile_tau_s_sd"] == pytest.approx(0.1, rel=1e-3)


def test_four_gates_make_a_profile_where_there_is_no_path():
    # Gates at 0, 5, 15 and 30 m, the start half a metre behind the first: times by Newton's method on paper's model.
    since = np.linspace(0.0, 6.0, 60001)
    passed = np.interp(np.array([0.5, 5.5, 15.5, 30.5]), way_m(since), since)
    gates = Gates(np.array([0.0, 5.0, 15.0, 30.0]), passed - passed[0], 0.5)
    found = run_row("run-1", "left_skate", steps(), gates, usable=True, reason="")
    assert found["profile_from"] == "gates"
    assert found["profile_v_max_m_s"] == pytest.approx(V_MAX_M_S, rel=0.01)
    assert found["profile_tau_s"] == pytest.approx(TAU_S, rel=0.02)
    assert np.isnan([found["gate_1_speed_m_s"], found["distance_m"], found["peak_speed_m_s"]]).all()
    three = Gates(gates.position_m[:3], gates.time_s[:3], 0.5)
    empty = run_row("run-1", "left_skate", steps(), three, usable=True, reason="")
    assert (empty["profile_from"], np.isnan(empty["profile_tau_s"])) == ("", True)
    assert "no path" in empty["profile_reason"]


def test_a_speed_gained_by_length_alone_is_all_its_share():
    found = run_row("run-1", "left_skate", steps(), None, usable=True, reason="", body=sprint())
    assert found["speed_gain_ratio"] == pytest.approx(2.0)
    assert found["speed_gain_length_share_ratio"] == pytest.approx(1.0)
    assert found["speed_gain_rate_share_ratio"] == pytest.approx(0.0, abs=1e-12)
    assert found["speed_gain_reason"] == ""


def test_the_table_has_as_many_columns_as_the_most_gates_need():
    two, none = row(gates=Gates(np.array([0.0, 30.48]), np.array([0.0, 4.8]))), row(gates=None)
    table = run_table([none, two, row()])
    assert list(table.columns) == list(row())
    assert list(table.columns[-2:]) == ["usable", "reason"]
    assert list(table.columns[:10]) == [
        "run", "clock", "gate_time_s", "pushes_left", "pushes_right", "start_foot", "step_rate_hz", "stride_rate_hz",
        "mean_speed_m_s", "peak_speed_m_s",
    ]  # fmt: skip
    assert table["split_2_s"].isna().tolist() == [True, True, False]
    assert table["split_1_s"].isna().tolist() == [True, False, False]
    assert "split_1_s" not in run_table([none]).columns
