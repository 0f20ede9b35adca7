"""Session folders: the contract's files, readable, one athlete and one set of sensors over the day."""

import datetime as dt

import h5py
import numpy as np
import pandas as pd
import pytest

from imustride.loaders import load
from imustride.session import read_session
from imustride.simulation import simulate_session, write_session

DAY = dt.date(2026, 10, 3)
WHOLE = {"rate_hz": 200.0, "log_begins_late": False, "log_ends_early": False}


@pytest.fixture(scope="module")
def runs():
    return simulate_session(6, 3, "good", spoiled=(2,), axes_declared=True, position_declared=True, **WHOLE)


@pytest.mark.parametrize(("layout", "unit"), [("csv", "m/s^2"), ("csv", "g"), ("hdf5", "m/s^2")])
def test_a_written_session_reads_back_as_simulated(tmp_path, runs, layout, unit):
    write_session(tmp_path / "Q17", runs, "Q17", DAY, layout=layout, acceleration_unit=unit)
    session = read_session(tmp_path / "Q17")
    assert (session.athlete, session.date, session.surface) == ("Q17", DAY, "ice")
    assert [run.name for run in session.runs] == ["run-1", "run-2", "run-3"]
    for declared, run in zip(session.runs, runs, strict=True):
        for place, log in run.logs.items():
            read = load(session, declared, place)
            np.testing.assert_allclose(read.time_s, log.time_s, atol=1e-6)
            np.testing.assert_allclose(read.acceleration_m_s2, log.acceleration_m_s2, atol=1e-4)
            np.testing.assert_allclose(read.angular_velocity_rad_s, log.angular_velocity_rad_s, atol=2e-5)
            assert read.sensor.axes == log.sensor.axes
            assert read.sensor.position_m == pytest.approx(log.sensor.position_m)


def test_gates_are_zero_at_the_first_and_the_bodys_time_at_the_last(tmp_path, runs):
    write_session(tmp_path, runs, "Q17", DAY)
    for number, run in enumerate(runs, start=1):
        gates = pd.read_csv(tmp_path / f"run-{number}" / "gates.csv")
        assert list(gates["position_m"]) == [0.0, 30.48]
        assert gates["time_s"][0] == 0.0
        assert gates["time_s"][1] == pytest.approx(run.gates_s[1] - run.gates_s[0], abs=0.008)


def test_truth_of_all_runs_lies_beside(tmp_path, runs):
    write_session(tmp_path, runs, "Q17", DAY)
    truth = pd.read_csv(tmp_path / "truth.csv")
    assert len(truth) == sum(len(run.truth) for run in runs)
    assert list(truth["run"].unique()) == ["run-1", "run-2", "run-3"]


def test_gaps_of_nan_are_empty_cells(tmp_path):
    runs = simulate_session(2, 1, "good", gaps=2, gap_as_nan=True, **WHOLE)
    write_session(tmp_path, runs, "Q17", DAY)
    read = load(read_session(tmp_path), read_session(tmp_path).runs[0], "left_skate")
    lost = np.isnan(runs[0].logs["left_skate"].acceleration_m_s2)
    assert lost.any()
    np.testing.assert_array_equal(np.isnan(read.acceleration_m_s2), lost)


def test_hdf5_keeps_signals_single_and_packed(tmp_path, runs):
    write_session(tmp_path, runs, "Q17", DAY, layout="hdf5")
    with h5py.File(tmp_path / "run-1" / "skates.h5") as file:
        assert file["left_skate/acc"].dtype == np.float32
        assert file["left_skate/time"].dtype == np.float64
        assert file["left_skate/gyr"].compression == "gzip"
        assert file["left_skate/gyr"].shuffle


def test_athlete_sensors_and_day_stay_while_runs_differ(runs):
    first, last = runs[0].factors, runs[2].factors
    for name in ("contact_asymmetry_percent", "stride_time_s", "ice_vibration_m_s2", "left_gyro_noise_deg_s"):
        assert first[name] == last[name]
    assert first["stance_s"] != last["stance_s"]
    assert not np.allclose(
        runs[0].truth["contact_time_s"][2:8], runs[2].truth["contact_time_s"][2:8], atol=0.002
    )
    assert runs[2].logs["left_skate"].time_s[0] - runs[0].logs["left_skate"].time_s[0] == pytest.approx(
        480, abs=1
    )


def test_a_stumbled_run_is_slower_and_uneven(runs):
    times = [run.gates_s[1] - run.gates_s[0] for run in runs]
    assert times[1] > max(times[0], times[2]) + 0.1
    order = runs[1].factors["stumble_order"]
    contact = runs[1].truth["contact_time_s"]
    assert contact[order + 1] > 2 * contact[order]


@pytest.mark.parametrize("how", ["slip", "clip"])
def test_a_sensor_slips_or_clips_in_the_spoiled_run_only(how):
    spoiled = simulate_session(6, 2, "good", spoiled=(2,), spoiled_by=how, **WHOLE)
    sound = simulate_session(6, 2, "good", **WHOLE)
    for one, other, alike in ((spoiled[0], sound[0], True), (spoiled[1], sound[1], False)):
        left, right = (
            np.array_equal(one.logs[place].angular_velocity_rad_s, other.logs[place].angular_velocity_rad_s)
            for place in ("left_skate", "right_skate")
        )
        assert left is alike
        assert right


def test_a_session_with_a_body_reads_back_with_movements_and_lengths(tmp_path):
    places = ("left_shank", "pelvis")
    runs = simulate_session(6, 2, "good", places=places, **WHOLE)
    write_session(tmp_path, runs, "Q17", DAY)
    session = read_session(tmp_path)
    assert [sensor.place for sensor in session.sensors] == ["left_skate", "right_skate", *places]
    assert session.body.model_dump(exclude_none=True) == pytest.approx(runs[0].body)
    (movement,) = session.movements
    assert movement.kind == "all"
    assert set(movement.files) == set(runs[0].logs)
    assert (tmp_path / "movements" / "pelvis.csv").is_file()
    for declared, run in zip(session.runs, runs, strict=True):
        read = load(session, declared, "pelvis")
        np.testing.assert_allclose(read.acceleration_m_s2, run.logs["pelvis"].acceleration_m_s2, atol=1e-4)
    assert "knee_flexion_max_deg" in pd.read_csv(tmp_path / "truth.csv")


def test_the_body_is_the_same_over_the_day_and_its_clocks_run_on():
    runs = simulate_session(6, 2, "good", places=("pelvis",), **WHOLE)
    assert runs[0].body == runs[1].body
    assert runs[0].movements is runs[1].movements
    stamps = [run.logs["pelvis"].time_s for run in runs]
    assert stamps[1][0] - stamps[0][0] == pytest.approx(240, abs=1)
    assert runs[0].movements["all"]["pelvis"].time_s[-1] < stamps[0][0]
    alone = simulate_session(6, 2, "good", **WHOLE)[1].logs["left_skate"]
    np.testing.assert_array_equal(alone.acceleration_m_s2, runs[1].logs["left_skate"].acceleration_m_s2)
