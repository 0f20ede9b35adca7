import numpy as np
import pytest

from imustride.cutting.stance import cut
from imustride.kinematics import Clock, Cut
from imustride.loaders.sampling import regularise
from imustride.recording import Recording
from imustride.session import Sensor
from imustride.simulation import simulate_run
from imustride.synchronisation.shocks import ShockSettings, fit_clock, synchronise

BEFORE, AFTER = (2.0, 3.1), (21.0, 22.3)  # true times of the shocks [s]
MOTION = (7.0, 14.0)
LENGTH_S = 25.0


def own_time(true_s, offset_s, drift):
    return (np.asarray(true_s) + offset_s) * (1 + drift)


def skate(place, rate_hz, shocks_s, seed, offset_s=0.0, drift=0.0, gain=1.0):
    """Log shocks as damped oscillations that begin at given true times, and a noisy run.

    They ring at 35 and 60 Hz, at 100 Hz sampling half of that: as a device's own low pass would leave it.
    """
    rng = np.random.default_rng(seed)
    begin, end = own_time([0.0, LENGTH_S], offset_s, drift)
    own = begin + np.arange(int((end - begin) * rate_hz)) / rate_hz
    true = own / (1 + drift) - offset_s
    force = rng.normal(0, 0.05, (len(own), 3)) + np.linalg.qr(rng.normal(size=(3, 3)))[0][0] * 9.81
    for number, shock in enumerate(shocks_s):
        late = np.clip(true - shock, 0, None)
        late = late * min(rate_hz / 200, 1.0)
        ring = 1.5 * np.exp(-late / 0.02) * (np.sin(220 * late) + 0.7 * np.sin(380 * late + 0.2 * number))
        force += gain * (20 + 4 * number) * ring[:, None] * np.array([0.3, 0.2, 0.93])
    moving = (true > MOTION[0]) & (true < MOTION[1])
    force += moving[:, None] * rng.normal(0, 6.0, (len(own), 3))
    recording = Recording(
        sensor=Sensor(place=place),
        start_s=float(own[0]),
        rate_hz=rate_hz,
        acceleration_m_s2=force,
        angular_velocity_rad_s=np.zeros((len(own), 3)),
        measured=np.ones(len(own), bool),
        clipped=np.zeros((len(own), 2), bool),
    )
    # As cut in blocks of a tenth of a second.
    stance, motion = (
        own_time([4.0, 6.9], offset_s, drift),
        own_time([MOTION[0] - 0.07, MOTION[1] + 0.05], offset_s, drift),
    )
    return recording, Cut(tuple(stance), tuple(motion))


def joined(
    left_shocks, right_shocks, rate_hz=200.0, right_rate_hz=None, seed=0, offset_s=0.0, drift=0.0, gain=0.7
):
    """Return the right foot's clock and its largest error inside the motion [s]."""
    between_samples = np.random.default_rng(seed).uniform(0, 0.01)
    left_shocks, right_shocks = (
        np.array(left_shocks) + between_samples,
        np.array(right_shocks) + between_samples,
    )
    left, right = (
        skate("left_skate", rate_hz, left_shocks, 2 * seed),
        skate("right_skate", right_rate_hz or rate_hz, right_shocks, 2 * seed + 1, offset_s, drift, gain),
    )
    recordings = {"left_skate": left[0], "right_skate": right[0]}
    cuts = {"left_skate": left[1], "right_skate": right[1]}
    clocks = synchronise(recordings, cuts, "left_skate")
    assert clocks["left_skate"] == Clock()
    true = np.linspace(*MOTION, 50)
    error = np.abs(clocks["right_skate"].reference(own_time(true, offset_s, drift)) - true).max()
    return clocks["right_skate"], float(error)


@pytest.mark.parametrize("rate_hz", [200.0, 1000.0])
@pytest.mark.parametrize("offset_s", [-24.0, 0.3, 9000.0])
@pytest.mark.parametrize("drift", [-60e-6, 60e-6])
def test_offset_and_drift_are_found_to_two_milliseconds(rate_hz, offset_s, drift):
    errors = []
    for seed in range(4):
        clock, error = joined(BEFORE + AFTER, BEFORE + AFTER, rate_hz, None, seed, offset_s, drift)
        assert clock.joined
        errors.append(error)
    assert max(errors) < 0.002


def test_at_100_hz_to_half_a_sample():
    clocks = [joined(BEFORE + AFTER, BEFORE + AFTER, 100.0, None, seed, 5.0, 40e-6) for seed in range(8)]
    assert max(error for _, error in clocks) < 0.005


def test_sensors_of_different_rates_are_joined():
    clock, error = joined(BEFORE + AFTER, BEFORE + AFTER, 400.0, 148.0, 1, -3.0, 20e-6)
    assert clock.joined
    assert error < 0.003


def test_the_stated_spread_is_that_of_the_errors():
    found = [joined(BEFORE + AFTER, BEFORE + AFTER, 200.0, None, seed, 2.0, 30e-6) for seed in range(12)]
    stated = np.mean([clock.sd_s for clock, _ in found])
    assert 0 < np.sqrt(np.mean([error**2 for _, error in found])) < 3 * stated
    assert stated < 0.003


@pytest.mark.parametrize(("left", "right"), [((), ()), (BEFORE, ()), ((), AFTER)])
def test_without_shocks_the_clocks_are_not_joined(left, right):
    for seed in range(4):
        clock, _ = joined(left, right, seed=seed, offset_s=0.2)
        assert clock == Clock(joined=False)


@pytest.mark.parametrize("shocks", [BEFORE, AFTER])
def test_shocks_on_one_side_of_the_run_give_the_offset(shocks):
    # Quartz is good to some 30 ppm: over the 10 s to the middle of the run 60 ppm are 0.6 ms.
    clock, error = joined(shocks, shocks, 500.0, None, 3, -7.0, 60e-6)
    assert clock.joined
    assert error < 0.003
    both, _ = joined(BEFORE + AFTER, BEFORE + AFTER, 500.0, None, 3, -7.0, 60e-6)
    assert clock.sd_s > both.sd_s


def test_a_shock_that_one_sensor_missed_does_no_harm():
    _, error = joined(BEFORE + AFTER[:1], BEFORE[1:] + AFTER, 500.0, None, 2, 1.0, -50e-6)
    assert error < 0.002


def test_knocks_of_one_foot_alone_do_no_harm():
    own = (0.6, 4.9, 18.0, 23.9)
    _, error = joined((*BEFORE, *AFTER, *own[:2]), (*BEFORE, *AFTER, *own[2:]), 500.0, None, 4, 1.0, -50e-6)
    assert error < 0.002


def test_shocks_an_equal_time_apart_are_not_shifted_by_one():
    # One second apart, and one sensor missed the first: by the shocks alone a lag of one second fits two of
    # them too. The feet begin to move at the same time: that decides.
    even = (1.0, 2.0, 3.0)
    _, error = joined(even, even[1:], 500.0, None, 5, 0.0, 0.0)
    assert error < 0.003


def test_the_same_motion_in_both_clocks_is_the_identity():
    clock, error = joined(BEFORE + AFTER, BEFORE + AFTER, 1000.0)
    assert error < 0.001
    assert abs(clock.drift) < 20e-6


def test_exchanging_the_reference_turns_the_map_round():
    left = skate("left_skate", 500.0, BEFORE + AFTER, 6)
    right = skate("right_skate", 500.0, BEFORE + AFTER, 7, 4.0, 50e-6)
    recordings = {"left_skate": left[0], "right_skate": right[0]}
    cuts = {"left_skate": left[1], "right_skate": right[1]}
    there = synchronise(recordings, cuts, "left_skate")["right_skate"]
    back = synchronise(recordings, cuts, "right_skate")["left_skate"]
    times = np.linspace(8.0, 13.0, 9)
    np.testing.assert_allclose(there.reference(back.reference(times)), times, atol=0.002)


def test_the_line_through_the_shocks_is_held_where_quartz_allows():
    settings = ShockSettings()
    at = np.array([1.0, 2.0, 21.0, 22.0])
    free = fit_clock(at, 3.0 + 50e-6 * (at - 11.0), 11.0, 0.0002, settings)
    assert free.offset_s == pytest.approx(3.0, abs=1e-5)
    assert free.drift == pytest.approx(50e-6, rel=0.05)
    wild = fit_clock(at, 3.0 + np.array([0.0, 0.0, 0.02, 0.02]), 11.0, 0.01, settings)
    assert abs(wild.drift) < 300e-6


@pytest.mark.parametrize("grade", ["good", "real_ice"])
@pytest.mark.parametrize("seed", range(100, 108))
def test_a_run_without_shared_shocks_is_not_joined_by_chance(grade, seed):
    run = simulate_run(seed, grade, log_begins_late=True, log_ends_early=True)
    recordings = {place: regularise(log) for place, log in run.logs.items()}
    cuts = {place: cut(recording) for place, recording in recordings.items()}
    right = synchronise(recordings, cuts, "left_skate")["right_skate"]
    last = run.truth[run.truth["side"] == "right"].iloc[-1]
    # Joined rightly by something that really reached both is fine too.
    assert not right.joined or abs(right.reference(last["blade_off_own_s"]) - last["blade_off_s"]) < 0.005
