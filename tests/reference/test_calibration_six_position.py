"""Six positions and three whole turns: a real recording with the result of an independent library.

Source: example session of imucal 2.6.0 (MIT licence), README beside the data; `reference_result_imucal.json` is what
that library computes from it with gravity 9.81 m/s^2. Its scale is the length of a row of (rotation times scale),
which is the response of a sensing axis here too.
"""

import json
from datetime import date

import numpy as np
import pytest

from imustride.calibrating import Bench, calibrate_positions, calibrate_turns
from imustride.calibration import apply, read_calibration
from imustride.calibration.writing import calibration_path, plan
from imustride.exporting.swap import write_whole
from imustride.loaders import load_file, regularise
from imustride.session import Columns, Sensor, Units

RATE_HZ = 102.4
GRAVITY_M_S2 = 9.81
POSITIONS = ("x_p", "x_a", "y_p", "y_a", "z_p", "z_a")
TURNS = ("x_rot", "y_rot", "z_rot")
SENSOR = Sensor(
    place="trunk",
    device="S6",
    columns=Columns(acceleration=("acc_x", "acc_y", "acc_z"), angular_velocity=("gyr_x", "gyr_y", "gyr_z")),
    units=Units(acceleration="m/s^2", angular_velocity="deg/s"),
    rate_hz=RATE_HZ,
)


@pytest.fixture
def bench(open_data):
    return Bench(open_data("six_position") / "example_ferraris_session.csv", None, SENSOR, GRAVITY_M_S2)


@pytest.fixture
def reference(open_data):
    return json.loads((open_data("six_position") / "reference_result_imucal.json").read_text())


@pytest.fixture
def spans(open_data):
    listed = json.loads((open_data("six_position") / "example_ferraris_session_list.json").read_text())
    return {name: (row["start"] / RATE_HZ, row["end"] / RATE_HZ) for name, row in listed.items()}


def four_digits(values):
    return [f"{value:.4g}" for value in np.ravel(values)]


def test_bias_and_scale_of_the_accelerometer(bench, reference, spans):
    made = calibrate_positions(bench, [spans[name] for name in POSITIONS])
    found = made.positions.fit.triad
    assert four_digits(found.correction.bias) == four_digits(reference["b_a"])
    assert four_digits(found.scale) == four_digits(np.diag(reference["K_a"]))
    response = np.linalg.inv(found.correction.matrix)
    np.testing.assert_allclose(response, np.array(reference["K_a"]) @ np.array(reference["R_a"]), atol=2e-6)


def test_bias_of_the_gyroscope(bench, reference, spans):
    made = calibrate_positions(bench, [spans[name] for name in POSITIONS])
    bias_deg_s = np.degrees(made.gyroscope.triad.correction.bias)
    assert four_digits(bias_deg_s) == four_digits(reference["b_g"])


def test_scale_of_the_gyroscope(bench, reference, spans):
    made = calibrate_turns(bench, times_s=[spans[name] for name in TURNS])
    assert four_digits(made.gyroscope.triad.scale) == four_digits(np.diag(reference["K_g"]))


def test_positions_and_turns_are_found_without_being_named(bench, reference, spans):
    positions = calibrate_positions(bench).positions
    for name in POSITIONS:
        middle_s = sum(spans[name]) / 2
        assert any(from_s <= middle_s <= to_s for from_s, to_s in positions.poses.time_s), name
    # 2 mm/s^2 (0.2 mg) between the two choices of what belongs to a position.
    np.testing.assert_allclose(positions.fit.triad.correction.bias, reference["b_a"], atol=3e-3)
    np.testing.assert_allclose(positions.fit.triad.scale, np.diag(reference["K_a"]), rtol=3e-4)
    turns = calibrate_turns(bench)
    middles_s = [sum(spans[name]) / 2 for name in TURNS]
    assert all(a <= m <= b for m, (a, b) in zip(middles_s, turns.turns.time_s, strict=True))
    # 0.1 degrees of 360: each turn takes its bias from the rests around it, the reference from all positions.
    np.testing.assert_allclose(turns.gyroscope.triad.scale, np.diag(reference["K_g"]), rtol=3e-4)


def test_gravity_after_calibration_is_within_half_a_per_cent(bench, tmp_path):
    """Before it, gravity is off by up to 6.8 per cent (README beside the data)."""
    made = calibrate_positions(bench)
    path = calibration_path(tmp_path, "S6", date(2020, 1, 1))
    target = plan(path, "S6", date(2020, 1, 1), GRAVITY_M_S2, list(made.parts), replace=False)
    write_whole(target.path, target.text)
    recording = regularise(load_file(bench.path, None, SENSOR))
    corrected = apply(recording, read_calibration(path))
    spans = made.positions.poses.spans
    assert len(spans) >= 6
    before = [np.linalg.norm(recording.acceleration_m_s2[a:b].mean(axis=0)) for a, b in spans]
    after = [np.linalg.norm(corrected.acceleration_m_s2[a:b].mean(axis=0)) for a, b in spans]
    assert np.abs(np.array(before) / GRAVITY_M_S2 - 1).max() > 0.06
    assert np.abs(np.array(after) / GRAVITY_M_S2 - 1).max() < 0.005
