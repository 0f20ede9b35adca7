"""Accelerometers of invented sensors, found again from positions on an invented table."""

from dataclasses import replace

import numpy as np
import pytest

from imustride.calibration.fitting import FACES, FEW, FREE
from imustride.calibration.positions import find_positions
from imustride.calibration.rest import Calm, RestSettings, spans_where
from imustride.calibration.triad import response
from imustride.errors import SettingsError, SignalQualityError
from tests.generators import table
from tests.generators.table import Conditions, G

CALM = Conditions(tremor_m_s2=0, tremor_rad=0, sway_rad=0)


def made(seed=3, directions=None, conditions=None, tilt_deg=6.0, *, counts=False):
    rng = np.random.default_rng(seed)
    device = table.draw_device(rng, counts=counts)
    return table.record(rng, device, table.hand_set(rng, directions, tilt_deg), conditions)


def changed(recording, acceleration=None, angular_velocity=None):
    values = recording.acceleration_m_s2 if acceleration is None else acceleration
    rates = recording.angular_velocity_rad_s if angular_velocity is None else angular_velocity
    return replace(
        recording,
        acceleration_m_s2=np.asfortranarray(values),
        angular_velocity_rad_s=np.asfortranarray(rates),
    )


def errors(found, device):
    """Errors of bias [mg], scale [%] and skew [deg]."""
    scale, skew = response(device.matrix)
    triad = found.fit.triad
    size = np.linalg.norm(device.response, axis=1)
    return (
        (triad.correction.bias - device.bias) / size / G * 1e3,
        100 * (triad.scale / scale - 1),
        triad.skew_deg - skew,
    )


@pytest.mark.parametrize("counts", [False, True])
@pytest.mark.parametrize("seed", [3, 4, 5])
def test_twelve_hand_set_positions(seed, counts):
    recorded = made(seed, counts=counts)
    found = find_positions(recorded.recording, G)
    bias_mg, scale_percent, skew_deg = errors(found, recorded.device)
    assert np.abs(bias_mg).max() < 2
    assert np.abs(scale_percent).max() < 0.05
    assert np.abs(skew_deg).max() < 0.05
    assert (found.fit.method, found.fit.coverage.positions, found.fit.freedom) == (FREE, 12, 3)
    assert found.fit.triad.correction.from_counts == counts


def test_the_matrix_is_that_of_the_convention():
    """Upper triangular: x of the sensor frame lies along the sensing axis x, y in the plane of x and y."""
    recorded = made(conditions=CALM)
    matrix = find_positions(recorded.recording, G).fit.triad.correction.matrix
    np.testing.assert_allclose(matrix, recorded.device.matrix, atol=1e-3)
    assert (matrix[np.tril_indices(3, -1)] == 0).all()


def test_positions_are_where_the_sensor_was_held():
    recorded = made()
    found = find_positions(recorded.recording, G).poses.time_s
    assert (found[:, 0] >= recorded.held_s[:, 0]).all()
    assert (found[:, 1] <= recorded.held_s[:, 1] + 0.2).all()


@pytest.mark.parametrize("rate_hz", [50, 1000])
def test_any_rate(rate_hz):
    recorded = made(conditions=Conditions(rate_hz=rate_hz))
    bias_mg, scale_percent, _ = errors(find_positions(recorded.recording, G), recorded.device)
    assert np.abs(bias_mg).max() < 2
    assert np.abs(scale_percent).max() < 0.05


def test_named_positions_are_taken_as_they_are():
    recorded = made()
    spans = [(from_s + 0.5, to_s - 0.5) for from_s, to_s in recorded.held_s]
    found = find_positions(recorded.recording, G, spans)
    np.testing.assert_allclose(found.poses.time_s, spans, atol=0.003)
    instants = [(sum(span) / 2, sum(span) / 2) for span in spans]
    named = find_positions(recorded.recording, G, instants)
    np.testing.assert_allclose(np.diff(named.poses.time_s)[:, 0], 1.0, atol=1e-9)
    assert np.abs(errors(named, recorded.device)[0]).max() < 2


def test_a_named_time_must_lie_inside():
    recorded = made()
    with pytest.raises(
        SettingsError, match=r"--times: found 900-903 s; wanted a span inside the recording, 0\.00 to"
    ):
        find_positions(recorded.recording, G, [(900, 903)])
    holed = replace(recorded.recording, measured=np.arange(len(recorded.recording.measured)) // 100 != 3)
    with pytest.raises(SettingsError, match="samples are missing in 1-2 s"):
        find_positions(holed, G, [(1, 2)])


def test_a_hole_is_no_position():
    recorded = made()
    held = recorded.held_s[4]
    measured = np.ones(len(recorded.recording.measured), dtype=bool)
    measured[int(200 * held[0]) : int(200 * held[1])] = False
    found = find_positions(replace(recorded.recording, measured=measured), G)
    assert len(found.poses) == 11


def test_six_level_faces_give_the_turn_of_the_triad_too():
    recorded = made(directions=table.FACES, conditions=CALM, tilt_deg=0.2)
    found = find_positions(recorded.recording, G)
    assert found.fit.method == FACES
    assert np.abs(errors(found, recorded.device)[0]).max() < 1
    assert np.abs(errors(found, recorded.device)[1]).max() < 0.05
    # Tilts of 0.2 degrees leave some of it in the entries off the diagonal, and the standard errors say so.
    off = np.abs(found.fit.triad.correction.matrix - recorded.device.matrix)
    assert (off < 3 * found.fit.triad.matrix_sd + 1e-4).all()


def test_six_hand_set_positions_say_that_the_skew_was_not_measured():
    recorded = made(directions=table.FACES)
    found = find_positions(recorded.recording, G)
    assert found.fit.method == FEW
    assert any("skew of the axes was not measured" in note for note in found.notes)
    for error, sd in zip(
        errors(found, recorded.device)[:2],
        (found.fit.triad.bias_sd / G * 1e3, 100 * found.fit.triad.scale_sd),
        strict=True,
    ):
        assert (np.abs(error) < 3 * sd).all()
        assert sd.max() < 5


def test_a_position_that_was_touched_is_left_out():
    recorded = made(5)
    spoiled = recorded.recording.acceleration_m_s2.copy()
    from_s, to_s = recorded.held_s[4]
    spoiled[int(200 * from_s) : int(200 * to_s)] += [0.5, 0.3, 0.2]
    found = find_positions(changed(recorded.recording, spoiled), G)
    assert np.flatnonzero(~found.fit.used).tolist() == [4]
    assert any(f"position at {found.poses.time_s[4, 0]:.1f} s was left out" in note for note in found.notes)
    assert np.abs(errors(found, recorded.device)[0]).max() < 2


def test_bad_positions_do_not_hide_each_other():
    directions = np.vstack((table.FACES, table.SLANTED, -table.SLANTED, table.FACES))
    recorded = made(6, directions)
    spoiled = recorded.recording.acceleration_m_s2.copy()
    touched = (2, 8, 13)
    for number in touched:
        from_s, to_s = recorded.held_s[number]
        inside = slice(int(200 * from_s), int(200 * to_s))
        spoiled[inside] *= 1.03
    found = find_positions(changed(recorded.recording, spoiled), G)
    assert np.flatnonzero(~found.fit.used).tolist() == list(touched)


def test_clean_positions_are_hardly_ever_left_out():
    left_out = [int((~find_positions(made(seed).recording, G).fit.used).sum()) for seed in range(40, 60)]
    assert sum(left_out) == 0


@pytest.mark.parametrize("counts", [False, True])
def test_five_faces_are_refused(counts):
    with pytest.raises(
        SignalQualityError, match="5 directions, wanted at least 6: no position with y down; hold"
    ):
        find_positions(made(directions=table.FACES[:5], counts=counts).recording, G)


def test_half_of_the_sphere_is_refused():
    below = [
        *np.delete(table.FACES, 4, 0),
        (1, -1, 0),
        (-1, -1, 0),
        (0, -1, 1),
        (0, -1, -1),
        (1, 0, 1),
        (-1, 0, 1),
    ]
    with pytest.raises(SignalQualityError, match="no position with y up; hold"):
        find_positions(made(directions=np.array(below)).recording, G)


def test_one_position_is_refused():
    with pytest.raises(
        SignalQualityError, match="1 direction, wanted at least 6: no position with x up, x down, y"
    ):
        find_positions(made(directions=table.FACES[:1]).recording, G)
    with pytest.raises(SignalQualityError, match="found 1 position; wanted at least six"):
        find_positions(made(directions=table.FACES[:1], counts=True).recording, G)


def test_no_rest_is_refused():
    with pytest.raises(
        SignalQualityError, match=r"never still: .* shakes by 2\.\d+ m/s\^2, wanted less than 0\.5"
    ):
        find_positions(made(conditions=Conditions(tremor_m_s2=1.5)).recording, G)


@pytest.mark.parametrize("counts", [False, True])
@pytest.mark.parametrize("rate_rad_s", [0.35, 3.49])
def test_a_table_that_turns_is_refused(rate_rad_s, counts):
    recorded = made(counts=counts)
    turning = recorded.orientation.inv().apply([0, 0, rate_rad_s]) @ recorded.device.rate_response.T
    rates = recorded.recording.angular_velocity_rad_s + turning
    with pytest.raises(SignalQualityError, match="the sensor turned in 12 of 12 positions; wanted rest"):
        find_positions(changed(recorded.recording, angular_velocity=rates), G)


@pytest.mark.parametrize("highest", [9.5, 9.75])
def test_an_axis_at_the_end_of_its_range_is_refused(highest):
    recorded = made(tilt_deg=1.0)
    clipped = recorded.recording.acceleration_m_s2.copy()
    clipped[:, 2] = np.minimum(clipped[:, 2], highest)
    with pytest.raises(
        SignalQualityError, match=f"axis z of the accelerometer is at the end of its range, {highest}"
    ):
        find_positions(changed(recorded.recording, clipped), G)


def test_knocks_at_the_end_of_the_range_are_no_matter():
    recorded = made()
    knocked = recorded.recording.acceleration_m_s2.copy()
    knocked[int(200 * recorded.held_s[3, 1]) + 40 :][:30, 2] = 19.6
    assert len(find_positions(changed(recorded.recording, knocked), G).poses) == 12


@pytest.mark.parametrize(
    ("factor", "unit"), [(1 / 9.80665, "g"), (1000 / 9.80665, "mg"), (0.3, "no known unit")]
)
def test_a_wrong_unit_is_refused(factor, unit):
    recording = made().recording
    with pytest.raises(
        SignalQualityError, match=f"declared as m/s.2, but gravity at rest is .*: this (looks like|is) {unit}"
    ):
        find_positions(changed(recording, recording.acceleration_m_s2 * factor), G)


def test_coarse_steps_are_no_range():
    recorded = made(conditions=replace(CALM, steps=(9.80665 / 256, np.radians(1 / 16.4))))
    found = find_positions(recorded.recording, G)
    assert np.abs(errors(found, recorded.device)[0]).max() < 2


def test_a_made_recording_without_noise():
    quiet = replace(CALM, noise_m_s2=0, noise_rad_s=0, repeat_m_s2=0, wander_rad_s=0)
    recorded = made(conditions=quiet)
    inside = np.concatenate([np.arange(int(200 * a) + 20, int(200 * b) - 20) for a, b in recorded.held_s])
    joined = replace(
        changed(recorded.recording, recorded.recording.acceleration_m_s2[inside]),
        angular_velocity_rad_s=np.zeros((len(inside), 3), order="F"),
        measured=np.ones(len(inside), dtype=bool),
        clipped=np.zeros((len(inside), 2), dtype=bool),
    )
    found = find_positions(joined, G)
    assert len(found.poses) == 12
    np.testing.assert_allclose(found.fit.triad.correction.matrix, recorded.device.matrix, atol=1e-6)


@pytest.mark.parametrize(("leaned", "count"), [(0.04, 1), (0.06, 0)])
def test_a_slow_lean_is_no_position(leaned, count):
    """Six seconds without shaking, while gravity wanders by a part of itself: by 0.05 at most."""
    windows = 60
    mean = np.column_stack([np.linspace(0.0, leaned * G, windows), np.zeros(windows), np.full(windows, G)])
    calm = Calm(20, 100, np.zeros((windows, 2)), mean, np.zeros((windows, 3)))
    spans = spans_where(calm, np.ones(windows, bool), G, 200.0, RestSettings())
    # From the first sample to 59 x 20 + 100, 0.2 s left out at either end.
    assert spans.tolist() == [[40, 1240]] * count
