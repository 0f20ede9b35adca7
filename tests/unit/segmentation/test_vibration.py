"""A made step of vibration through the whole chain: filter, energy, instants. No simulator in sight."""

import numpy as np
import pytest
from scipy.signal import butter, freqz, sosfilt

from imustride.segmentation.boundaries import BoundarySettings, Signals, lift_offs, touch_downs
from imustride.segmentation.contact_point import Sliding
from imustride.segmentation.vibration import (
    VibrationSettings,
    contrast_filter,
    ice_vibration,
    log_energies,
    vibration_evidence,
)

RATES = pytest.mark.parametrize("rate_hz", [100.0, 200.0, 500.0, 1000.0])


def shaken(rate_hz, seed, loud=2.0, still=0.15, steps=60):
    """Acceleration of a foot that swings slowly and is shaken while on the ice; instants [s]."""
    rng = np.random.default_rng(seed)
    lengths = np.stack([rng.uniform(0.35, 0.50, steps), rng.uniform(0.30, 0.40, steps)], axis=1)
    marks = 1.0 + np.concatenate(([0.0], np.cumsum(lengths.ravel())))
    ons, offs = marks[:-1:2], marks[1::2]
    time_s = np.arange(round(marks[-1] * rate_hz)) / rate_hz
    touching = np.searchsorted(marks, time_s, side="right") % 2 == 1
    slow = 8.0 * np.stack([np.sin(2 * np.pi * 1.3 * time_s + phase) for phase in (0, 1, 2)], axis=1)
    noise = rng.normal(0, 1, (len(time_s), 3)) * np.where(touching, np.hypot(loud, still), still)[:, None]
    return slow + noise + [0, 0, 9.81], ons, offs


def sure(count, ons, offs, rate_hz):
    """Masks of samples surely on the ice and surely in the air."""
    time_s = np.arange(count) / rate_hz
    near = np.searchsorted(ons, time_s, side="right") - 1
    into, left = time_s - ons[near], offs[near] - time_s
    on = (near >= 0) & (into > 0.05) & (left > 0.06)
    off = (near >= 0) & (left < -0.02) & (near < len(ons) - 1)
    off &= ons[np.minimum(near + 1, len(ons) - 1)] - time_s > 0.02
    return on, off


def signals(acceleration, rate_hz, speed_m_s=6.0):
    """Signals of a foot whose motion says nothing: only the vibration can time its events."""
    zero = np.zeros(len(acceleration))
    motion = Sliding(zero, zero, zero + speed_m_s, np.ones(len(zero), bool))
    return Signals(motion, zero, acceleration, rate_hz)


@pytest.mark.parametrize("band_hz", [(60.0, 90.0), (120.0, 160.0)])
def test_the_filter_finds_a_planted_band(band_hz):
    rng = np.random.default_rng(5)
    rate_hz = 500.0
    on = np.arange(40_000) % 400 < 200
    hum = sosfilt(
        butter(4, band_hz, "bandpass", fs=rate_hz, output="sos"), rng.normal(0, 2.0, (40_000, 3)), axis=0
    )
    slow = sosfilt(butter(2, 20.0, fs=rate_hz, output="sos"), rng.normal(0, 8.0, (40_000, 3)), axis=0)
    acceleration = slow + rng.normal(0, 0.1, (40_000, 3)) + hum * on[:, None]
    taps = contrast_filter(acceleration, on, ~on, 41)
    frequency, response = freqz(taps, worN=2000, fs=rate_hz)
    assert band_hz[0] < frequency[np.argmax(np.abs(response))] < band_hz[1]
    outside = (frequency < 25.0) | (frequency > band_hz[1] + 60.0)
    assert np.abs(response[outside]).max() < 0.25 * np.abs(response).max()


def test_an_axis_or_its_sign_is_nothing_special():
    acceleration, ons, offs = shaken(200.0, 1)
    masks = sure(len(acceleration), ons, offs, 200.0)
    plain = contrast_filter(acceleration, *masks, 5)
    turn = np.linalg.qr(np.random.default_rng(2).normal(size=(3, 3)))[0]
    turned = contrast_filter(acceleration @ turn.T, *masks, 5)
    assert abs(plain @ turned) == pytest.approx(1.0, abs=1e-6)


@RATES
def test_ice_is_louder_than_air(rate_hz):
    acceleration, ons, offs = shaken(rate_hz, 3)
    on, off = sure(len(acceleration), ons, offs, rate_hz)
    found = ice_vibration(acceleration, on, off, rate_hz, VibrationSettings())
    # 2 against 0.15 m/s^2: 5.2 nepers of energy. The slow swing leaks most at 100 Hz.
    assert 3.0 < found.ice - found.air < 5.5
    odds = vibration_evidence(found, on, off, np.full(len(on), 6.0), rate_hz, VibrationSettings())
    assert (odds[on] > 0).mean() > 0.97
    assert (odds[off] < 0).mean() > 0.90


def test_a_step_is_not_seen_before_it_comes_nor_after_it_went():
    # A filter smears a step over its own length, on both sides together; each output keeps one end in place.
    rng = np.random.default_rng(9)
    taps = np.array([-1.0, 2.0, -2.0, 2.0, -1.0]) / np.sqrt(14.0)
    acceleration = rng.normal(0, 0.01, (400, 3))
    acceleration[150:250] += rng.normal(0, 2.0, (100, 3))
    rising, falling = log_energies(acceleration, taps, VibrationSettings())
    half = np.log(0.1)
    first = np.flatnonzero(rising > half)[0]
    last = np.flatnonzero(falling > half)[-1]
    assert 147 <= first <= 150
    assert 250 <= last + 1 <= 254
    assert np.flatnonzero(falling > half)[0] < first
    assert last < np.flatnonzero(rising > half)[-1]


# Touch-down: the contract's bias, 3 ms; at 100 Hz a third of a sample more. Lift-off: a holder may ring on,
# which a plain step is taken for now and then, so it is timed early by some 4 ms; more where 10 ms lie between samples.
@pytest.mark.parametrize(
    ("rate_hz", "on_bias_s", "off_bias_s"),
    [(100.0, 0.005, 0.014), (200.0, 0.003, 0.006), (500.0, 0.003, 0.006), (1000.0, 0.003, 0.006)],
)
def test_a_step_of_vibration_is_timed(rate_hz, on_bias_s, off_bias_s):
    acceleration, ons, offs = shaken(rate_hz, 1)
    settings = BoundarySettings()
    vibration = ice_vibration(
        acceleration, *sure(len(acceleration), ons, offs, rate_hz), rate_hz, VibrationSettings()
    )
    made = signals(acceleration, rate_hz)
    rough = np.random.default_rng(0).uniform(-0.015, 0.015, (2, len(ons)))
    near = [
        np.round((marks + off) * rate_hz).astype(int) for marks, off in zip((ons, offs), rough, strict=True)
    ]
    on_error = touch_downs(made, near[0], vibration, settings) / rate_hz - ons
    off_error = lift_offs(made, near[1], settings) / rate_hz - offs
    assert abs(np.mean(on_error)) < on_bias_s
    assert abs(np.mean(off_error)) < off_bias_s
    assert np.std(on_error) < 0.004 + 0.2 / rate_hz
    assert np.std(off_error) < 0.006 + 0.2 / rate_hz


@pytest.mark.parametrize("rate_hz", [100.0, 250.0, 500.0, 1000.0])
def test_a_rate_a_little_beside_the_nominal_moves_no_instant(rate_hz):
    # The same samples: what changes is 0.2 parts in a thousand of every span, 0.02 ms of the longest, 90 ms.
    acceleration, ons, offs = shaken(rate_hz, 1)
    masks = sure(len(acceleration), ons, offs, rate_hz)
    settings = BoundarySettings()
    found = []
    for true_hz in (rate_hz * (1 - 1e-4), rate_hz * (1 + 1e-4)):
        vibration = ice_vibration(acceleration, *masks, true_hz, VibrationSettings())
        made = signals(acceleration, true_hz)
        near_on, near_off = (np.round(marks * rate_hz).astype(int) for marks in (ons, offs))
        found.append((touch_downs(made, near_on, vibration, settings), lift_offs(made, near_off, settings)))
    np.testing.assert_allclose(np.divide(found[0], rate_hz), np.divide(found[1], rate_hz), rtol=0, atol=2e-5)


def test_too_little_of_either_teaches_nothing():
    acceleration, _, _ = shaken(200.0, 1, steps=4)
    nothing = np.zeros(len(acceleration), bool)
    assert ice_vibration(acceleration, nothing, ~nothing, 200.0, VibrationSettings()) is None
    assert ice_vibration(acceleration, ~nothing, nothing, 200.0, VibrationSettings()) is None


def test_silence_of_a_slow_blade_says_nothing():
    acceleration, ons, offs = shaken(200.0, 6)
    on, off = sure(len(acceleration), ons, offs, 200.0)
    found = ice_vibration(acceleration, on, off, 200.0, VibrationSettings())
    odds = vibration_evidence(found, on, off, np.zeros(len(on)), 200.0, VibrationSettings())
    assert odds.min() >= 0.0
    assert odds[on].mean() > 0.1


def test_no_contrast_no_evidence():
    acceleration, ons, offs = shaken(200.0, 7, loud=0.0)
    on, off = sure(len(acceleration), ons, offs, 200.0)
    found = ice_vibration(acceleration, on, off, 200.0, VibrationSettings())
    odds = vibration_evidence(found, on, off, np.full(len(on), 6.0), 200.0, VibrationSettings())
    assert np.abs(odds).max() < 0.02
