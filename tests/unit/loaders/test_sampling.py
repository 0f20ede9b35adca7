"""Stamps of every kind: what comes out must be the signal at the even times, and the faults counted."""

import numpy as np
import pytest

from imustride.errors import SignalQualityError
from imustride.loaders import regularise
from imustride.loaders.stamps import stamps_are_true
from imustride.recording import SensorLog

SECONDS = 60.0
NOISE = 0.02  # of either signal


def acceleration(time_s):
    return np.column_stack((3 * np.sin(6 * time_s), 5 * np.cos(9 * time_s), 9.8 + 4 * np.sin(11 * time_s)))


def angular_velocity(time_s):
    return np.column_stack((2 * np.sin(7 * time_s), 9 * np.cos(8 * time_s), 3 * np.sin(13 * time_s)))


@pytest.fixture
def rng():
    return np.random.default_rng(20261003)


@pytest.fixture
def log(sensor, rng):
    def _log(stamps, taken=None, keep=slice(None), noise=NOISE):
        """Samples taken at instants (default: when their stamps say) and stamped."""
        taken = stamps if taken is None else taken
        signals = [
            signal(taken) + noise * rng.normal(size=(len(taken), 3))
            for signal in (acceleration, angular_velocity)
        ]
        return SensorLog(sensor, np.array(stamps[keep]), signals[0][keep], signals[1][keep], "run-1/left.csv")

    return _log


def even(rate_hz, start_s=5.0):
    return start_s + np.arange(round(SECONDS * rate_hz)) / rate_hz


def error_rms(recording) -> float:
    """Error of the measured angular velocity against the signal at the recording's own times."""
    error = recording.angular_velocity_rad_s - angular_velocity(recording.time_s)
    return float(np.sqrt((error[recording.measured] ** 2).mean()))


@pytest.mark.parametrize("rate_hz", [100, 204.8, 500, 1000])
@pytest.mark.parametrize("start_s", [0.0, 5.0, 1.7e9])
def test_an_evenly_stamped_log_comes_back_untouched(log, rate_hz, start_s):
    given = log(even(rate_hz, start_s))
    recording = regularise(given)
    np.testing.assert_array_equal(recording.acceleration_m_s2, given.acceleration_m_s2)
    np.testing.assert_array_equal(recording.angular_velocity_rad_s, given.angular_velocity_rad_s)
    assert recording.rate_hz == pytest.approx(rate_hz, rel=1e-9)
    assert recording.start_s == pytest.approx(start_s, abs=1e-6)
    assert recording.measured.all()
    assert not recording.clipped.any()
    quality = recording.quality
    assert (quality.duplicates, quality.missing_samples, quality.bridged, quality.gaps) == (0, 0, 0, ())
    assert quality.stamps == len(given.time_s)


@pytest.mark.parametrize("rate_hz", [100, 400.5, 500, 1000])
@pytest.mark.parametrize("decimals", [3, 4, 5])
def test_rounded_stamps_are_put_back_on_their_line(log, rate_hz, decimals):
    taken = even(rate_hz)
    given = log(np.round(taken, decimals), taken)
    recording = regularise(given)
    np.testing.assert_array_equal(recording.angular_velocity_rad_s, given.angular_velocity_rad_s)
    assert recording.rate_hz == pytest.approx(rate_hz, rel=1e-6)
    # A mean over the whole log: far below the rounding.
    assert recording.start_s == pytest.approx(5.0, abs=0.05 * 10.0**-decimals)


def test_where_rounding_hides_a_sample_the_times_stay_within_it(log):
    # 995 Hz in milliseconds looks like 1000 Hz with every 200th sample lost, and cannot be told from it.
    taken = even(995)
    recording = regularise(log(np.round(taken, 3), taken))
    slope = 39.0  # steepest angular velocity, rad/s per s
    assert recording.measured.all()
    assert error_rms(recording) < NOISE + 0.0005 * slope


def test_stamps_in_ticks_of_no_decimal_are_put_back_too(log):
    taken = even(200)
    given = log(np.round(taken * 512) / 512, taken)
    np.testing.assert_array_equal(regularise(given).acceleration_m_s2, given.acceleration_m_s2)


def test_stamps_coarser_than_the_sampling_keep_every_sample(log):
    taken = even(200)
    given = log(np.round(taken, 2), taken)
    recording = regularise(given)
    assert recording.rate_hz == pytest.approx(200, rel=1e-5)
    assert len(recording.measured) == len(taken)
    assert recording.quality.duplicates == 0


def test_more_samples_than_milliseconds_keep_the_stamp_that_comes_twice(log):
    taken = even(1001)
    recording = regularise(log(np.floor(taken * 1e3) / 1e3, taken))
    assert recording.rate_hz == pytest.approx(1001, rel=1e-5)
    assert recording.quality.duplicates == 0


@pytest.mark.parametrize("rate_hz", [100, 500, 1000])
@pytest.mark.parametrize("jitter", [0.05, 0.1, 0.2])
@pytest.mark.parametrize("who_jitters", ["sampling", "stamping"])
def test_jitter_of_the_sampling_is_interpolated_and_jitter_of_the_stamping_ignored(
    log, rng, rate_hz, jitter, who_jitters
):
    steady = even(rate_hz)
    stamps = steady + np.clip(jitter * rng.normal(size=len(steady)), -0.45, 0.45) / rate_hz
    recording = regularise(log(stamps, stamps if who_jitters == "sampling" else steady))
    assert recording.rate_hz == pytest.approx(rate_hz, rel=1e-5)
    assert (
        error_rms(recording) < 1.05 * NOISE
    )  # taking one for the other at 100 Hz costs up to 5 times the noise
    assert recording.quality.jitter_sd_s == pytest.approx(jitter / rate_hz, rel=0.05)
    assert recording.quality.missing_samples == 0


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("taken_then", [True, False])
def test_rest_around_a_motion_does_not_hide_whether_stamps_are_true(seed, taken_then):
    # Ten seconds of motion that swells and fades in 40 minutes of rest. Against the mean of its neighbours a row is late by
    # 0.03 * sqrt(1.5) of 4 ms, times a slope of 21 rad/s^2 (root mean square): 0.0031 rad/s in noise of 0.02 * sqrt(1.5).
    # 7500 values tell the slope to 0.025 / 0.0031 / sqrt(7500) = 0.09: five of these lie between either and a half.
    rng = np.random.default_rng(seed)
    number = np.arange(600_000.0)
    deviation = rng.normal(0, 0.03, len(number))
    signal = NOISE * rng.normal(size=(len(number), 3))
    moving = slice(200_000, 202_500)
    time_s = (number + deviation * taken_then)[moving] / 250
    signal[moving] += angular_velocity(time_s) * np.sin(np.pi * (time_s - 800) / 10)[:, None] ** 2
    assert stamps_are_true(signal, number, deviation) == taken_then


@pytest.mark.parametrize("seed", range(10))
def test_where_the_jitter_is_too_small_to_tell_the_samples_are_left_as_they_are(seed):
    # A three-hundredth of the jitter above: the slope is known to some 20 only.
    rng = np.random.default_rng(seed)
    number = np.arange(2500.0)
    signal = angular_velocity(number / 250) + NOISE * rng.normal(size=(2500, 3))
    assert not stamps_are_true(signal, number, rng.normal(0, 1e-4, 2500))


def test_where_only_the_stamping_jitters_samples_come_back_untouched(log, rng):
    taken = even(500)
    given = log(taken + 1e-4 * rng.normal(size=len(taken)), taken)
    np.testing.assert_array_equal(regularise(given).acceleration_m_s2, given.acceleration_m_s2)


def test_stamping_that_jitters_beyond_its_neighbours_is_no_time_running_backwards(log, rng):
    taken = even(500)
    stamps = taken + 0.3 / 500 * rng.normal(size=len(taken))
    assert (np.diff(stamps) < 0).any()
    recording = regularise(log(stamps, taken))
    assert error_rms(recording) < 1.02 * NOISE
    assert recording.rate_hz == pytest.approx(500, rel=1e-5)


def test_a_clock_that_wanders_is_followed(log):
    taken = even(500)
    stamps = taken + 0.002 * np.sin(2 * np.pi * taken / 40)
    recording = regularise(log(stamps, stamps))
    assert error_rms(recording) < 1.05 * NOISE


def test_a_clock_that_wanders_is_followed_through_noisy_stamps(log, rng):
    """By 2 ms, which cost 0.05 rad/s where nobody follows; stamps that step back are no instants of their own."""
    taken = even(500) + 0.002 * np.sin(2 * np.pi * even(500) / 40)
    stamps = taken + 0.3 / 500 * rng.normal(size=len(taken))
    assert (np.diff(stamps) < 0).any()
    assert error_rms(regularise(log(stamps, taken))) < 1.05 * NOISE


@pytest.mark.parametrize("rate_hz", [100, 200, 500, 1000])
@pytest.mark.parametrize("how", ["rows left out", "NaN", "NaN in one axis"])
def test_short_holes_are_bridged_and_long_ones_masked(log, rate_hz, how):
    stamps = even(rate_hz)
    # 20 ms from sample to sample, 3 lost samples at most, one always: at 100 Hz 1, from 200 Hz on 3.
    most = 1 if rate_hz == 100 else 3
    lost = np.zeros(len(stamps), dtype=bool)
    lost[1000 : 1000 + most] = True
    lost[2000 : 2000 + most + 1] = True
    given = log(stamps, keep=slice(None) if how.startswith("NaN") else ~lost)
    if how.startswith("NaN"):
        values = given.angular_velocity_rad_s.copy()
        values[lost, slice(None) if how == "NaN" else 1] = np.nan
        given = SensorLog(given.sensor, given.time_s, given.acceleration_m_s2, values, given.source)
    recording = regularise(given)
    expected = np.ones(len(stamps), dtype=bool)
    expected[2000 : 2000 + most + 1] = False
    np.testing.assert_array_equal(recording.measured, expected)
    assert recording.quality.bridged == 1
    assert recording.quality.missing_samples == 2 * most + 1
    ((start_s, to_s),) = recording.quality.gaps
    assert (start_s, to_s) == pytest.approx((stamps[1999], stamps[2000 + most + 1]))
    assert np.isfinite(recording.angular_velocity_rad_s).all()
    np.testing.assert_array_equal(recording.acceleration_m_s2[~lost], log_rows(given, lost, how))
    bridge = slice(1000, 1000 + most)
    off = recording.angular_velocity_rad_s[bridge] - angular_velocity(stamps[bridge])
    assert np.abs(off).max() < 5 * NOISE


def log_rows(given, lost, how):
    return given.acceleration_m_s2[~lost] if how.startswith("NaN") else given.acceleration_m_s2


def test_a_bridge_follows_the_curve(log):
    stamps = even(200)
    keep = np.ones(len(stamps), dtype=bool)
    keep[1000:1003] = False
    recording = regularise(log(stamps, keep=keep, noise=0.0))
    hole = slice(1000, 1003)
    curve = angular_velocity(stamps[hole])
    chord = np.linspace(angular_velocity(stamps[999:1000])[0], angular_velocity(stamps[1003:1004])[0], 5)[
        1:-1
    ]
    assert np.abs(recording.angular_velocity_rad_s[hole] - curve).max() < 0.25 * np.abs(chord - curve).max()


def test_after_a_hole_the_sampling_may_start_on_another_phase(log):
    first, second = even(200)[:4000], even(200)[4000:] + 0.5037
    recording = regularise(log(np.concatenate((first, second))))
    assert recording.rate_hz == pytest.approx(200, rel=1e-6)
    assert len(recording.quality.gaps) == 1
    assert error_rms(recording) < 1.02 * NOISE


def test_rows_missing_at_the_ends_are_not_measured(log):
    given = log(even(500))
    values = given.acceleration_m_s2.copy()
    values[:7], values[-4:] = np.nan, np.nan
    recording = regularise(SensorLog(given.sensor, given.time_s, values, given.angular_velocity_rad_s))
    assert not recording.measured[:7].any()
    assert not recording.measured[-4:].any()
    assert recording.measured[7:-4].all()


def test_a_signal_that_is_missing_throughout_is_nowhere_measured(log):
    given = log(even(500))
    recording = regularise(
        SensorLog(given.sensor, given.time_s, given.acceleration_m_s2, np.full((30000, 3), np.nan))
    )
    assert not recording.measured.any()


def test_rows_written_twice_are_dropped_and_counted(log):
    given = log(even(500))
    rows = np.sort(np.r_[np.arange(30000), 50, 600, 600, 601, 1700])
    twice = SensorLog(
        given.sensor, given.time_s[rows], given.acceleration_m_s2[rows], given.angular_velocity_rad_s[rows]
    )
    recording = regularise(twice)
    assert recording.quality.duplicates == 5
    np.testing.assert_array_equal(recording.acceleration_m_s2, given.acceleration_m_s2)


def test_rows_without_a_time_are_lost_samples(log):
    given = log(even(500))
    stamps = given.time_s.copy()
    stamps[[100, 2000]] = np.nan
    recording = regularise(
        SensorLog(given.sensor, stamps, given.acceleration_m_s2, given.angular_velocity_rad_s)
    )
    assert recording.quality.missing_samples == 2
    assert len(recording.measured) == 30000


@pytest.mark.parametrize("rate_hz", [100, 1000])
def test_losses_are_told_from_jitter(log, rng, rate_hz):
    taken = even(rate_hz)
    stamps = taken + 0.1 / rate_hz * rng.normal(size=len(taken))
    keep = np.ones(len(taken), dtype=bool)
    keep[[1000, 2000, 2001, 3000]] = False
    recording = regularise(log(stamps, taken, keep))
    assert recording.quality.missing_samples == 4
    assert recording.rate_hz == pytest.approx(rate_hz, rel=1e-5)
    assert error_rms(recording) < 1.05 * NOISE


def test_time_running_backwards_names_the_row(log):
    stamps = even(500)
    stamps[7000:] -= 3.0
    with pytest.raises(
        SignalQualityError,
        match=r"run-1/left\.csv: time runs backwards at row 7001: found 16 s after 18\.998 s;",
    ):
        regularise(log(stamps))


def test_two_rows_in_the_wrong_order_are_time_running_backwards(log):
    stamps = even(500)
    stamps[[4000, 4001]] = stamps[[4001, 4000]]
    with pytest.raises(SignalQualityError, match="backwards at row 4002"):
        regularise(log(stamps))


@pytest.mark.parametrize(
    "stamps",
    [
        [
            5.506,
            2.692,
            -0.7,
            -3.301,
            -5.473,
            5.093,
            1.947,
            2.639,
            6.89,
        ],  # falls, though it ends above its start
        [
            -0.218,
            1.532,
            2.419,
            1.716,
            2.604,
            2.199,
            3.138,
            3.077,
            1.354,
            3.025,
            0.994,
            2.146,
        ],  # rises, then falls
    ],
)
def test_time_that_goes_to_and_fro_within_its_scatter_is_refused(log, stamps):
    with pytest.raises(
        SignalQualityError, match=r"run-1/left\.csv: the time stamps go to and fro over the whole file"
    ):
        regularise(log(np.array(stamps)))


def test_the_row_of_a_fault_counts_rows_left_out(log):
    stamps = even(500)
    stamps[100] = np.nan
    stamps[7000:] -= 3.0
    with pytest.raises(SignalQualityError, match="backwards at row 7001"):
        regularise(log(stamps))


def test_a_jump_of_the_clock_is_no_gap_to_fill(log):
    stamps = even(500)
    stamps[7000:] += 1.7e9
    with pytest.raises(SignalQualityError, match=r"time jumps by 1\.7e\+09 s at row 7001"):
        regularise(log(stamps))


@pytest.mark.parametrize("stamps", [np.arange(5.0), np.full(100, 3.0), np.full(100, np.nan), np.zeros(0)])
def test_too_few_stamps(log, stamps):
    with pytest.raises(SignalQualityError, match="rows with a time of their own; wanted at least 8"):
        regularise(log(stamps))
