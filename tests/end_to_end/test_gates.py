"""Gates that fit the sensors and gates that cannot, through the whole analysis."""

from dataclasses import replace

import numpy as np
import pytest

from imustride import pipeline
from imustride.kinematics import Gates
from imustride.simulation import simulate_run

LANE_M = np.array([0.0, 30.48])


@pytest.fixture(scope="module")
def run():
    return simulate_run(7002, position_declared=True, skid_m_s=0.0)


def analysed(run, stretched):
    """The run with the time between its gates stretched."""
    time_s = np.array([0.0, stretched * (run.gates_s[1] - run.gates_s[0])])
    gates = Gates(LANE_M, time_s, run.factors["start_behind_m"])
    return pipeline.analyse_logs("run-1", run.logs, gates=gates)


def flags(found):
    return found.pushes["flags"].str.split(";")


def test_true_gates_are_used_and_what_lies_behind_the_last_is_flagged(run):
    found = analysed(run, 1.0)
    assert found.notes == ()
    assert len(found.body.gate_s) == 2
    beyond = found.pushes["blade_off_s"] > np.interp(30.48, run.front_m, run.front_s) + 0.15
    short = found.pushes["blade_off_s"] < np.interp(30.48, run.front_m, run.front_s) - 0.15
    assert flags(found)[beyond].map(lambda words: "after_finish" in words).all()
    assert not flags(found)[short].map(lambda words: "after_finish" in words).any()
    assert short.any()


# A fifth off is a metre and more at every speed of a sprint: no lead of the body and no drift of a sensor is that large.
@pytest.mark.parametrize("stretched", [0.8, 1.25, 2.0])
def test_gates_a_fifth_off_and_more_are_left_out_and_every_push_says_so(run, stretched):
    found = analysed(run, stretched)
    alone = pipeline.analyse_logs("run-1", run.logs)
    assert any("gates do not fit the sensors" in note for note in found.notes)
    assert flags(found).map(lambda words: "gates_left_out" in words).all()
    assert found.pushes["stride_length_m"].to_numpy() == pytest.approx(
        alone.pushes["stride_length_m"].to_numpy(), rel=0.02, nan_ok=True
    )


def test_a_hole_in_one_log_empties_what_rests_on_the_path_and_says_so(run):
    log = run.logs["left_skate"]
    # In the middle of the pushes, 0.3 s long: rows left out, as a logger does.
    times = pipeline.analyse_logs("run-1", run.logs).pushes["blade_off_s"]
    middle_s = float(times.median())
    kept = (log.time_s < middle_s) | (log.time_s > middle_s + 0.3)
    holed = replace(
        log,
        time_s=log.time_s[kept],
        acceleration_m_s2=log.acceleration_m_s2[kept],
        angular_velocity_rad_s=log.angular_velocity_rad_s[kept],
    )
    found = pipeline.analyse_logs("run-1", {**run.logs, "left_skate": holed})
    assert found.pushes["side"].nunique() == 2
    assert flags(found).map(lambda words: "path_doubtful" in words).all()
    assert found.pushes[["step_length_m", "stride_length_m", "blade_speed_m_s"]].isna().all(axis=None)
    assert found.paths == {}
    assert any("a gap of 0.3" in note and "stays empty" in note for note in found.notes)
