"""Motion-BIDS written: frames, rates and events worked out on paper; a result made by hand."""

import dataclasses
import json

import numpy as np
import pytest

from imustride.exporting import motion_bids
from imustride.exporting.bids_events import event_rows
from imustride.exporting.motion_bids import Recorded, write_dataset, write_events
from imustride.exporting.results_folder import write_results
from imustride.recording import SensorLog
from imustride.session import Sensor, Units

COUNT = 200


@pytest.fixture
def recorded():
    """A sensor with uneven stamps and a missing value."""
    sensor = Sensor(place="left_skate", device="S0", axes=("+z", "-y", "+x"), units=Units(acceleration="g"))
    time_s = np.arange(COUNT) / 250 + np.where(np.arange(COUNT) % 2, 5e-4, -5e-4)
    values = np.full((COUNT, 3), 1 / 3)
    values[4, 1] = np.nan
    log = SensorLog(sensor, time_s, values, np.zeros((COUNT, 3)))
    return Recorded(log, is_timed=True, task="sprint-100ft", number=1, holds={"Runs": [{"name": "run-1"}]})


@pytest.fixture
def written(recorded, result, tmp_path):
    folder = tmp_path / "bids"
    write_dataset(folder, result.session, [recorded])
    return folder / "sub-A07" / "ses-20261003" / "motion"


STEM = "sub-A07_ses-20261003_task-sprint100ft_tracksys-leftskate_run-01"


def test_numbers_in_full_and_missing_ones_by_their_word(written):
    rows = [line.split("\t") for line in (written / f"{STEM}_motion.tsv").read_text().splitlines()]
    assert len(rows) == COUNT
    assert rows[4][:3] == ["0.3333333333333333", "n/a", "0.3333333333333333"]
    assert float(rows[5][6]) == 0.0205


def test_channels_in_the_order_of_the_columns(written):
    rows = [line.split("\t") for line in (written / f"{STEM}_channels.tsv").read_text().splitlines()]
    assert rows[0][:5] == ["name", "component", "type", "tracked_point", "units"]
    assert [row[2] for row in rows[1:]] == [*["ACCEL"] * 3, *["GYRO"] * 3, "LATENCY"]
    assert [row[4] for row in rows[1:]] == [*["m/s^2"] * 3, *["rad/s"] * 3, "s"]


def test_whither_the_axes_of_the_sensor_point(written):
    """Its z points forward, its y right, its x up: superior, right, anterior in the letters of the standard."""
    level = json.loads((written / f"{STEM}_channels.json").read_text())["reference_frame"]["Levels"]["sensor"]
    assert level["SpatialAxes"] == "SRA"


def test_nothing_is_said_of_axes_that_nobody_declared(recorded, result, tmp_path):
    log = recorded.log
    bare = dataclasses.replace(log, sensor=log.sensor.model_copy(update={"axes": None}))
    write_dataset(tmp_path / "bids", result.session, [dataclasses.replace(recorded, log=bare)])
    (path,) = (tmp_path / "bids").glob("sub-*/ses-*/motion/*_channels.json")
    assert "SpatialAxes" not in path.read_text()


def test_rate_between_jittering_stamps(written):
    """Stamps 0.5 ms early and late by turns: single steps are 5 and 3 ms, fifty of them 200 ms."""
    sidecar = json.loads((written / f"{STEM}_motion.json").read_text())
    assert sidecar["SamplingFrequency"] == 250
    assert sidecar["SamplingFrequencyEffective"] == pytest.approx(199 / (199 / 250 + 1e-3))
    assert sidecar["RecordingDuration"] == pytest.approx(0.797)
    assert (sidecar["MotionChannelCount"], sidecar["ACCELChannelCount"], sidecar["LATENCYChannelCount"]) == (
        7,
        3,
        1,
    )
    assert sidecar["Runs"] == [{"name": "run-1"}]


def test_counted_samples_need_no_latency(recorded, result, tmp_path):
    sensor = recorded.log.sensor.model_copy(update={"rate_hz": 104.0})
    counted = dataclasses.replace(
        recorded, log=dataclasses.replace(recorded.log, sensor=sensor), is_timed=False
    )
    write_dataset(tmp_path / "bids", result.session, [counted])
    (path,) = (tmp_path / "bids").glob("sub-*/ses-*/motion/*_motion.json")
    assert json.loads(path.read_text())["SamplingFrequency"] == 104
    assert "LATENCY" not in path.with_name(path.name.replace("motion.json", "channels.tsv")).read_text()
    assert len(path.with_suffix(".tsv").read_text().splitlines()[0].split("\t")) == 6


def test_only_recorded_sensors_are_declared(written):
    sessions = json.loads((written.parents[1] / "sub-A07_sessions.json").read_text())
    declared = sessions["SessionDeclaration"]["ses-20261003"]
    assert [sensor["place"] for sensor in declared["sensors"]] == ["left_skate"]
    assert declared["consent"] == "guardian"
    assert "folder" not in declared


def test_two_recordings_never_share_a_file(recorded, result, tmp_path):
    with pytest.raises(FileExistsError):
        write_dataset(tmp_path / "bids", result.session, [recorded, recorded])


def test_events_of_a_result_made_by_hand(result, tmp_path):
    folder = tmp_path / "bids"
    place = folder / motion_bids.results_place(result.session)
    place.parent.mkdir(parents=True)
    write_results(result, place, {})
    gates = (np.array([0.0, 30.48]), np.array([0.0, 4.832]))
    write_events(folder, result.session, 1, result.session.runs[0], gates)
    (path,) = folder.glob("sub-A07/ses-20261003/motion/*_run-01_events.tsv")
    rows = [line.split("\t") for line in path.read_text().splitlines()]
    assert rows[0][:3] == ["onset", "duration", "trial_type"]
    pushes, kinds = result.runs[0].pushes, [row[2] for row in rows[1:]]
    assert kinds.count("blade_off") == len(pushes)
    assert kinds.count("blade_on") == pushes["blade_on_s"].notna().sum()
    onsets = [float(row[0]) for row in rows[1:]]
    assert onsets == sorted(onsets)
    passed = [(row[0], row[5], row[6]) for row in rows[1:] if row[2] == "gate"]
    body = result.runs[0].body
    assert passed == [(f"{body.gate_s[0]:.5f}", "0.0", "0.0"), (f"{body.gate_s[1]:.5f}", "30.48", "4.832")]
    first = rows[1]
    assert first == ["10.20000", "0", "blade_off", "left", "0", "n/a", "n/a", "first_lift;standing_start"]


def test_a_gate_that_no_path_tells_of_has_no_onset(result, tmp_path):
    write_results(result, tmp_path / "results", {})
    rows = event_rows(tmp_path / "results", "run-2", (np.array([0.0, 30.48]), np.array([0.0, 4.9])))
    assert [row[0] for row in rows if row[2] == "gate"] == ["n/a", "n/a"]
    assert [row[2] for row in rows[-2:]] == ["gate", "gate"]
