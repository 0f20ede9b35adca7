"""Gyroscopes of invented sensors, found again from turns between positions, whole turns and a turntable."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imustride.calibration.between import BetweenSettings
from imustride.calibration.gyroscope import AT_REST, BETWEEN, gyroscope_of_positions
from imustride.calibration.positions import find_positions
from imustride.calibration.stops import find_stops
from imustride.calibration.triad import response
from imustride.calibration.turns import TurnSettings, fit_turns
from imustride.calibration.turntable import find_steady
from imustride.errors import SignalQualityError
from tests.generators import table
from tests.generators.table import Conditions, G

CALM = Conditions(tremor_m_s2=0, tremor_rad=0, sway_rad=0)
EACH = (("+x", 1), ("+y", 1), ("+z", 1))
BOTH_WAYS = tuple((axis, way) for axis, _ in EACH for way in (1, -1))


def device_of(seed=7, *, counts=False):
    return table.draw_device(np.random.default_rng(seed), counts=counts)


def turned(device, turns, conditions=CALM, seed=1):
    """Rest, turn about an axis that points up, rest, and so on; moved by hand to the next axis in between."""
    attitudes, moves = [], []
    for axis, way in turns:
        level, _ = Rotation.align_vectors([[0, 0, 1]], [np.asarray(table.AXES[axis], dtype=float)])
        attitudes += [level, level * Rotation.from_rotvec(table.turn_about(axis, way))]
        moves += [table.turn_about(axis, way), None]
    rng = np.random.default_rng(seed)
    return table.record(rng, device, Rotation.concatenate(attitudes), conditions, move=moves[:-1]).recording


def fitted(known, device):
    return fit_turns(known, TurnSettings(), from_counts=device.counts)


def assert_close(found, device, ratio=5e-4, skew_deg=0.05, bias_deg_s=0.02):
    scale, skew = response(device.rate_matrix)
    size = np.linalg.norm(device.rate_response, axis=1)
    np.testing.assert_allclose(found.scale, scale, rtol=ratio)
    np.testing.assert_allclose(found.skew_deg, skew, atol=skew_deg)
    np.testing.assert_allclose(
        np.degrees((found.correction.bias - device.rate_bias) / size), 0, atol=bias_deg_s
    )
    # Also the turn of the triad as a whole is right.
    np.testing.assert_allclose(found.correction.matrix @ device.rate_response, np.eye(3), atol=2e-3)


@pytest.mark.parametrize("counts", [False, True])
@pytest.mark.parametrize("turns", [EACH, BOTH_WAYS, tuple((axis, -1) for axis, _ in EACH)])
def test_whole_turns(turns, counts):
    device = device_of(counts=counts)
    found = fitted(find_stops(turned(device, turns)), device)
    assert_close(found.triad, device)
    assert found.triad.correction.from_counts == counts


def test_turns_both_ways_check_each_other():
    device = device_of()
    once, twice = (fitted(find_stops(turned(device, turns)), device) for turns in (EACH, BOTH_WAYS))
    assert np.isnan(once.departure_percent).all()
    assert np.abs(twice.departure_percent).max() < 0.05
    assert (twice.triad.scale_sd < once.triad.scale_sd).all()


def test_two_turns_in_one_go():
    device = device_of()
    known = find_stops(turned(device, (("+x", 2), ("+y", -1), ("+z", 1))))
    np.testing.assert_allclose(known.known, [4 * np.pi, -2 * np.pi, 2 * np.pi])
    assert_close(fitted(known, device).triad, device)


def test_in_counts_unlike_turns_are_refused():
    device = device_of(counts=True)
    with pytest.raises(
        SignalQualityError, match=r"turn about x shows (1\.9|2\.)\d* times that about the other axes"
    ):
        fitted(find_stops(turned(device, (("+x", 2), ("+y", 1), ("+z", 1)))), device)


def test_named_turns():
    device = device_of()
    recording = turned(device, EACH)
    found = find_stops(recording)
    named = find_stops(recording, times_s=[(a - 0.1, b + 0.1) for a, b in found.time_s])
    assert_close(fitted(named, device).triad, device)


def test_other_angles_than_a_whole_turn():
    device = device_of()
    recording = turned(device, tuple((axis, 0.25) for axis, _ in EACH))
    # Rests of 3 s, turns of 1.5 s and, from axis to axis, movements by hand that are no turns about one axis.
    turns_s = [(2.8, 4.7), (11.8, 13.7), (20.8, 22.7)]
    quarter = find_stops(recording, turn_deg=90, times_s=turns_s)
    np.testing.assert_allclose(quarter.known, np.full(3, np.pi / 2))
    assert_close(fitted(quarter, device).triad, device, ratio=2e-3, skew_deg=0.2)


def test_a_missing_axis_is_named():
    device = device_of()
    with pytest.raises(
        SignalQualityError, match=r"no known turn about z; found turns about x at .* s, y at .* s; wanted"
    ):
        fitted(find_stops(turned(device, EACH[:2])), device)


def test_turns_without_rest_are_refused():
    with pytest.raises(SignalQualityError, match="found 0 rests; wanted rest before and behind every turn"):
        find_stops(turned(device_of(), EACH, replace(CALM, hold_s=0.3)))


def test_a_gyroscope_at_the_end_of_its_range_is_refused():
    recording = turned(device_of(), EACH)
    rates = np.clip(recording.angular_velocity_rad_s, -2.2, 2.2)
    clipped = np.zeros((len(rates), 2), dtype=bool)
    clipped[:, 1] = (np.abs(rates) >= 2.2).any(axis=1)
    spoiled = replace(recording, angular_velocity_rad_s=np.asfortranarray(rates), clipped=clipped)
    with pytest.raises(SignalQualityError, match=r"gyroscope is at the end of its range at .* s, in a turn"):
        find_stops(spoiled)


@pytest.mark.parametrize("counts", [False, True])
@pytest.mark.parametrize("rpm", [33.333, -45.0, 78.0])
def test_a_turntable(rpm, counts):
    device = device_of(counts=counts)
    recording = table.turntable(np.random.default_rng(2), device, rpm)
    found = fitted(find_steady(recording, abs(rpm)), device)
    assert_close(found.triad, device)


def test_a_wrong_rate_of_the_turntable_is_refused():
    recording = table.turntable(np.random.default_rng(2), device_of(), 45)
    with pytest.raises(SignalQualityError, match=r"the turns show 1\.3\d times what was declared"):
        fitted(find_steady(recording, 33.333), device_of())


def test_a_turntable_without_rest_is_refused():
    recording = table.turntable(np.random.default_rng(2), device_of(), 45, axes=("+x",))
    steady = slice(int(5.5 * 200), int(14.5 * 200))
    only = replace(
        recording,
        acceleration_m_s2=np.asfortranarray(recording.acceleration_m_s2[steady]),
        angular_velocity_rad_s=np.asfortranarray(recording.angular_velocity_rad_s[steady]),
        measured=recording.measured[steady],
        clipped=recording.clipped[steady],
    )
    with pytest.raises(SignalQualityError, match="no known turn about x; found turns about no axis"):
        fitted(find_steady(only, 45), device_of())


@pytest.mark.parametrize("counts", [False, True])
def test_turns_between_positions(counts):
    rng = np.random.default_rng(11)
    device = table.draw_device(rng, counts=counts)
    directions = np.vstack((table.FACES, table.SLANTED))
    recorded = table.record(rng, device, table.hand_set(rng, directions), CALM)
    positions = find_positions(recorded.recording, G)
    found = gyroscope_of_positions(recorded.recording, positions)
    assert (found.method, found.turns) == (BETWEEN, 11)
    assert_close(found.triad, device, ratio=2e-3, skew_deg=0.15)
    assert found.residuals["gyroscope_between_positions_deg"] < 0.1


@pytest.fixture(scope="module")
def by_hand():
    """A sensor in SI units set on its faces and edges by hand."""
    rng = np.random.default_rng(11)
    directions = np.vstack((table.FACES, table.SLANTED))
    recorded = table.record(rng, table.draw_device(rng), table.hand_set(rng, directions), CALM)
    return recorded.recording, find_positions(recorded.recording, G)


@pytest.mark.parametrize(
    ("factor", "looks"),
    [(-1.0, "a reversed sign"), (180 / np.pi, "looks like deg/s"), (np.pi / 180, "correct the unit")],
)
def test_turns_that_fit_gravity_in_another_unit_or_sign_are_refused(by_hand, factor, looks):
    recording, positions = by_hand
    poses = replace(positions.poses, angular_velocity=factor * positions.poses.angular_velocity)
    rates = np.asfortranarray(factor * recording.angular_velocity_rad_s)
    with pytest.raises(SignalQualityError, match=looks):
        gyroscope_of_positions(
            replace(recording, angular_velocity_rad_s=rates), replace(positions, poses=poses)
        )


def test_a_turn_that_misses_by_far_counts_less(by_hand):
    """A jolt of 1 degree in one of eleven turns; where no miss is too far, all turns count alike."""
    recording, positions = by_hand
    between = int(positions.poses.spans[4, 1] + positions.poses.spans[5, 0]) // 2
    rates = recording.angular_velocity_rad_s.copy(order="F")
    rates[between] += np.radians(1.0) * recording.rate_hz * np.array([0.6, 0.0, 0.8])
    jolted = replace(recording, angular_velocity_rad_s=rates)
    clean = gyroscope_of_positions(recording, positions).triad.scale
    usual, alike = (
        np.abs(gyroscope_of_positions(jolted, positions, settings).triad.scale / clean - 1).max()
        for settings in (BetweenSettings(), BetweenSettings(huber=1e9))
    )
    assert usual < 0.8 * alike


def test_a_turn_that_was_cut_off_does_not_count(by_hand):
    recording, positions = by_hand
    between = int(positions.poses.spans[3:5].mean())
    clipped = np.zeros((len(recording.measured), 2), bool)
    clipped[between, 1] = True
    assert gyroscope_of_positions(recording, positions).turns == 11
    assert gyroscope_of_positions(replace(recording, clipped=clipped), positions).turns == 10


def test_without_turns_only_the_bias_is_told():
    """Positions joined from pieces: gravity moved, the gyroscope never turned."""
    rng = np.random.default_rng(11)
    device = table.draw_device(rng)
    recorded = table.record(rng, device, table.hand_set(rng), CALM)
    inside = np.concatenate([np.arange(int(200 * a) + 20, int(200 * b) - 20) for a, b in recorded.held_s])
    joined = replace(
        recorded.recording,
        acceleration_m_s2=np.asfortranarray(recorded.recording.acceleration_m_s2[inside]),
        angular_velocity_rad_s=np.asfortranarray(recorded.recording.angular_velocity_rad_s[inside]),
        measured=np.ones(len(inside), dtype=bool),
        clipped=np.zeros((len(inside), 2), dtype=bool),
    )
    found = gyroscope_of_positions(joined, find_positions(joined, G))
    assert (found.method, found.measured) == (AT_REST, False)
    np.testing.assert_array_equal(found.triad.correction.matrix, np.eye(3))
    np.testing.assert_allclose(found.triad.correction.bias, device.rate_bias, atol=3e-4)
    assert any("only its bias" in note for note in found.notes)


def test_counts_without_turns_have_no_scale():
    rng = np.random.default_rng(11)
    device = table.draw_device(rng, counts=True)
    recorded = table.record(rng, device, table.hand_set(rng), CALM)
    still = np.tile(device.rate_bias, (len(recorded.recording.measured), 1)) + rng.normal(0, 2, (1, 3))
    quiet = replace(recorded.recording, angular_velocity_rad_s=np.asfortranarray(still))
    assert gyroscope_of_positions(quiet, find_positions(quiet, G)) is None
