"""Each check on a sensor with which all is well, and on one with its own fault planted by hand."""

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from imustride.checking.view import CalibrationFacts, Outcome, RecordingView
from imustride.kinematics import SharedShocks
from imustride.recording import SamplingQuality
from imustride.registry import methods

CHECKS = methods("checking")
# Those of sensors that are not on a skate: test_body_checks.
OF_BODY = {"fitting_axes", "body_place", "body_joined"}
OF_SENSOR = [name for name, check in CHECKS.items() if check.of == "sensor" and name not in OF_BODY]
OF_RECORDING = [name for name, check in CHECKS.items() if check.of == "recording"]


def several(outcome):
    return [outcome] if isinstance(outcome, Outcome) else list(outcome)


@pytest.mark.parametrize("name", [name for name in OF_SENSOR if name != "loose"])
def test_a_good_sensor_passes(sensor, limits, name):
    outcome = CHECKS[name].judge(sensor, limits)
    assert (outcome.verdict, outcome.advice) == ("pass", "")
    assert outcome.strain < 1
    assert outcome.measured
    assert outcome.limit


@pytest.mark.parametrize("name", OF_RECORDING)
def test_a_good_run_passes(recording, limits, name):
    for outcome in several(CHECKS[name].judge(recording, limits)):
        assert (outcome.verdict, outcome.advice) == ("pass", "")
        assert outcome.strain < 1


def of_recording(view, **changes):
    return replace(view, recording=replace(view.recording, **changes))


def declared(view, **changes):
    return of_recording(view, sensor=view.recording.sensor.model_copy(update=changes))


def sampled(sensor, **changes):
    return of_recording(sensor, quality=SamplingQuality(**{"stamps": 10_000, **changes}))


def rested(sensor, **changes):
    return replace(sensor, rest=replace(sensor.rest, **changes))


def gap(sensor, length_s):
    measured = np.ones(10_000, dtype=bool)
    measured[4000 : 4000 + round(500 * length_s)] = False
    quality = SamplingQuality(
        stamps=10_000, gaps=((8.0, 8.0 + length_s),), missing_samples=int((~measured).sum())
    )
    return of_recording(sensor, measured=measured, quality=quality)


def clipped(sensor, kind, samples):
    marks = np.zeros((10_000, 2), dtype=bool)
    marks[4000 : 4000 + samples, kind] = True
    return of_recording(sensor, clipped=marks)


def noisier(sensor, name, times):
    values = getattr(sensor.recording, name)
    return of_recording(sensor, **{name: values.mean(axis=0) + times * (values - values.mean(axis=0))})


def calibrated(sensor, **changes):
    return replace(sensor, calibration=CalibrationFacts(declared=True, **changes))


DAY = dt.date(2026, 10, 3)
# Check, what is done to the sensor, verdict, and a word that must be said.
PLANTED = {
    "slow": ("rate", lambda s: of_recording(s, rate_hz=128.0), "warn", "128.00 Hz"),
    "very slow": ("rate", lambda s: of_recording(s, rate_hz=52.0), "fail", "52.00 Hz"),
    "jitter": ("jitter", lambda s: sampled(s, jitter_sd_s=0.0005), "warn", "25 %"),
    "wild jitter": ("jitter", lambda s: sampled(s, jitter_sd_s=0.001), "fail", "50 %"),
    "short gap": ("gaps", lambda s: gap(s, 0.03), "warn", "0.030 s"),
    "long gap": ("gaps", lambda s: gap(s, 0.2), "fail", "0.200 s"),
    "many bridged": ("gaps", lambda s: sampled(s, missing_samples=300, bridged=280), "warn", "280 short ones"),
    "8 g": ("range", lambda s: declared(s, acceleration_range_g=8.0), "warn", "8 g"),
    "500 deg/s": ("range", lambda s: declared(s, angular_velocity_range_deg_s=500.0), "fail", "500 deg/s"),
    "landings cut off": ("clipping", lambda s: clipped(s, 0, 40), "warn", "acceleration 1.2 %"),
    "much cut off": ("clipping", lambda s: clipped(s, 0, 400), "fail", "acceleration 11.6 %"),
    "turn cut off": ("clipping", lambda s: clipped(s, 1, 15), "warn", "angular velocity 30 ms"),
    "turns cut off": ("clipping", lambda s: clipped(s, 1, 60), "fail", "angular velocity 120 ms"),
    "dull": ("bandwidth", lambda s: replace(s, bandwidth_hz=38.0), "warn", "about 38 Hz"),
    "very dull": ("bandwidth", lambda s: replace(s, bandwidth_hz=18.0), "fail", "about 18 Hz"),
    "noisy accelerometer": ("noise", lambda s: noisier(s, "acceleration_m_s2", 35), "fail", "m/s^2"),
    "noisy gyroscope": ("noise", lambda s: noisier(s, "angular_velocity_rad_s", 20), "warn", "deg/s"),
    "dead axis": ("noise", lambda s: replace(s, dead_axes=("acceleration y",)), "fail", "acceleration y never"),
    "gravity off": ("gravity", lambda s: rested(s, gravity=10.1), "warn", "+3.0 %"),
    "gravity far off": ("gravity", lambda s: rested(s, gravity=9.3), "fail", "-5.2 %"),
    "wrong unit": ("gravity", lambda s: replace(s, unit_faults={"acceleration": "looks like g"}), "fail", "like g"),
    "biased": ("gyro", lambda s: rested(s, angular_velocity_bias=(0.1, 0, 0)), "warn", "5.73 deg/s"),
    "very biased": ("gyro", lambda s: rested(s, angular_velocity_bias=(0, 0.2, 0)), "fail", "11.46 deg/s"),
    "gyro in deg/s": ("gyro", lambda s: replace(s, unit_faults={"angular velocity": "looks like deg/s"}), "fail", "deg/s"),
    "gyro reversed": ("gyro", lambda s: replace(s, gravity_turned_deg=(40.0, 1.0)), "fail", "sign reversed"),
    "gyro astray": ("gyro", lambda s: replace(s, gravity_turned_deg=(80.0, 75.0)), "fail", "80 deg away"),
    "sign of up": ("axes", lambda s: replace(s, unit_faults={"mounting": "upside down"}), "fail", "upside down"),
    "other up": ("axes", lambda s: rested(s, up="-y"), "fail", "-y is up"),
    "forward off": ("axes", lambda s: replace(s, axes_off_deg=88.0), "fail", "88 deg"),
    "forward somewhat off": ("axes", lambda s: replace(s, axes_off_deg=40.0), "warn", "40 deg"),
    "askew": ("tilt", lambda s: rested(s, tilt_deg=33.0), "warn", "33 deg"),
    "far askew": ("tilt", lambda s: rested(s, tilt_deg=50.0), "fail", "50 deg"),
    "turned in pitch": ("turned", lambda s: replace(s, turned_deg=(-11.0, 2.0)), "fail", "pitch 11.0"),
    "turned in roll": ("turned", lambda s: replace(s, turned_deg=(1.0, 25.0)), "fail", "roll 25.0"),
    "not calibrated": ("calibration", lambda s: replace(s, calibration=CalibrationFacts(declared=False)), "warn", "none"),
    "other device": ("calibration", lambda s: calibrated(s, problem="of device 'S9'"), "fail", "S9"),
    "old": ("calibration", lambda s: calibrated(s, date=DAY - dt.timedelta(60)), "warn", "60 days old"),
    "very old": ("calibration", lambda s: calibrated(s, date=DAY - dt.timedelta(400)), "fail", "400 days old"),
    "of the future": ("calibration", lambda s: calibrated(s, date=DAY + dt.timedelta(3)), "warn", "3 days after"),
}  # fmt: skip


@pytest.mark.parametrize("fault", PLANTED)
def test_a_planted_fault_is_named(sensor, limits, fault):
    name, plant, verdict, said = PLANTED[fault]
    outcome = CHECKS[name].judge(plant(sensor), limits)
    assert outcome.verdict == verdict
    assert said in outcome.measured
    assert outcome.advice
    assert outcome.strain >= 1


@pytest.mark.parametrize(
    ("name", "change"),
    [
        ("jitter", lambda s: declared(s, rate_hz=500.0)),
        ("range", lambda s: declared(s, acceleration_range_g=None, angular_velocity_range_deg_s=None)),
        ("gravity", lambda s: replace(s, rest=None)),
        ("gyro", lambda s: replace(s, rest=None)),
        ("bandwidth", lambda s: replace(s, rest=None, bandwidth_hz=None)),
        ("axes", lambda s: declared(s, axes=None)),
        ("tilt", lambda s: declared(s, axes=None)),
        ("turned", lambda s: replace(s, turned_deg=None)),
        ("loose", lambda s: s),
    ],
)
def test_what_cannot_be_told_is_not_judged(sensor, limits, name, change):
    assert CHECKS[name].judge(change(sensor), limits).verdict == "not told"


def test_an_uncalibrated_sensor_is_allowed_more(sensor, limits):
    off = rested(sensor, gravity=1.025 * sensor.gravity_m_s2)
    assert CHECKS["gravity"].judge(off, limits).verdict == "warn"
    raw = replace(off, calibration=CalibrationFacts(declared=False))
    assert CHECKS["gravity"].judge(raw, limits).verdict == "pass"


def test_white_noise_shows_no_low_pass(sensor, limits):
    outcome = CHECKS["bandwidth"].judge(replace(sensor, bandwidth_hz=None), limits)
    assert (outcome.verdict, outcome.measured) == ("pass", "no low pass seen below 212 Hz")


def shocks(before, after, **changes):
    clock = {"offset_s": -3.2, "offset_sd_s": 0.0008, "drift": 4e-5, "drift_sd": 3e-5} | changes
    return SharedShocks(np.arange(before + after, dtype=float), np.empty((0, 3)), before, after, **clock)


NAN = float("nan")
OF_RUN = {
    "unreadable": ("file", {"problems": {"left_skate": "no such file"}}, "fail", "no such file"),
    "no shock": ("shocks", {"shared": shocks(0, 0)}, "fail", "none shared"),
    "no run": ("shocks", {"shared": None}, "fail", "not found on both"),
    "shocks before only": ("shocks", {"shared": shocks(2, 0)}, "warn", "2 before, 0 after"),
    "shocks after only": ("shocks", {"shared": shocks(0, 2)}, "warn", "0 before, 2 after"),
    "drift": ("clock", {"shared": shocks(2, 2, drift=400e-6)}, "warn", "+400"),
    "large drift": ("clock", {"shared": shocks(2, 2, drift=-2e-3)}, "fail", "-2000"),
    "vague offset": ("clock", {"shared": shocks(2, 0, offset_sd_s=0.004, drift=NAN, drift_sd=NAN)}, "warn", "4.0 ms"),
    "died": ("log_end", {"moving_at_end": {"right_skate": "pushing"}}, "fail", "still pushes"),
    "short": ("log_end", {"moving_at_end": {"right_skate": "gliding"}}, "warn", "in the glide"),
    "shorter": ("log_end", {"ends_s": {"left_skate": 20.0, "right_skate": 11.0}}, "fail", "9.0 s before"),
    "swapped": ("sides", {"sides": "contradicts"}, "fail", "SWAPPED"),
}  # fmt: skip


@pytest.mark.parametrize("fault", OF_RUN)
def test_a_fault_of_a_run_is_named(recording, limits, fault):
    name, changes, verdict, said = OF_RUN[fault]
    outcomes = several(CHECKS[name].judge(replace(recording, **changes), limits))
    assert any(
        outcome.verdict == verdict and said in outcome.measured and outcome.advice for outcome in outcomes
    )


def test_a_glide_as_smooth_as_rest_is_no_stop(recording, limits):
    sensors = {place: replace(sensor, turned_deg=None) for place, sensor in recording.sensors.items()}
    cut_off = replace(recording, sensors=sensors, shared=shocks(2, 0))
    for outcome in several(CHECKS["log_end"].judge(cut_off, limits)):
        assert outcome.verdict == "warn"
        assert "in the glide" in outcome.measured


def test_an_uncertain_drift_is_no_fault(recording, limits):
    outcome = CHECKS["clock"].judge(
        replace(recording, shared=shocks(2, 2, drift=3e-4, drift_sd=2e-4)), limits
    )
    assert outcome.verdict == "pass"
    assert "+300 +- 200 ppm" in outcome.measured


def test_copies_of_one_file_are_named(recording, limits):
    left, right = recording.sensors.values()
    copied = replace(
        recording, sensors={"left_skate": left, "right_skate": replace(right, digest=left.digest)}
    )
    outcomes = several(CHECKS["file"].judge(copied, limits))
    assert [(outcome.where, outcome.verdict) for outcome in outcomes] == [
        ("left_skate", "pass"),
        ("right_skate", "fail"),
    ]
    assert "same samples as left_skate" in outcomes[1].measured


@pytest.mark.parametrize(
    ("change", "verdict", "said"),
    [
        (lambda s: replace(s, cut=None, cut_problem="nothing moves"), "fail", "nothing moves"),
        (lambda s: replace(s, cut=replace(s.cut, stance_s=(5.9, 7.0))), "warn", "stance 1.1 s"),
        (lambda s: replace(s, cut=replace(s.cut, stance_s=(6.5, 7.0))), "fail", "stance 0.5 s"),
        (lambda s: replace(s, turned_deg=None), "warn", "no stance after the stop"),
    ],
)
def test_missing_steps_are_named(recording, limits, change, verdict, said):
    changed = {place: change(sensor) for place, sensor in recording.sensors.items()}
    outcome = CHECKS["protocol"].judge(replace(recording, sensors=changed), limits)
    assert outcome.verdict == verdict
    assert said in outcome.measured


def fitting(recording, blows):
    shared = replace(recording.shared, blows=np.array(blows), after=0, drift=NAN, drift_sd=NAN)
    return replace(recording, name="fitting", kind="fitting", shared=shared, sides="cannot tell")


HEELS = [(4.0, 30.0, 22.0), (5.0, 11.0, 28.0)]


@pytest.mark.parametrize(
    ("taps", "verdict"),
    [
        ([(6.0, 20.0, 0.4), (7.5, 0.3, 9.0)], "pass"),
        ([(6.0, 20.0, 0.4), (6.2, 12.0, 0.4), (7.5, 0.3, 9.0), (7.7, 0.2, 9.0)], "pass"),
        ([(6.0, 0.4, 20.0), (7.5, 9.0, 0.3)], "fail"),
        ([(6.0, 20.0, 0.4)], "warn"),
        ([], "warn"),
    ],
)
def test_taps_tell_left_from_right(recording, limits, taps, verdict):
    outcome = CHECKS["sides"].judge(fitting(recording, HEELS + taps), limits)
    assert outcome.verdict == verdict


def test_the_guided_form_asks_for_no_run(recording, limits):
    view = fitting(recording, HEELS)
    assert CHECKS["shocks"].judge(view, limits).verdict == "pass"
    assert CHECKS["protocol"].judge(view, limits).measured == "still for 4.0 s"
    restless = {place: replace(sensor, rest=None) for place, sensor in view.sensors.items()}
    assert CHECKS["protocol"].judge(replace(view, sensors=restless), limits).verdict == "fail"


@pytest.mark.parametrize("name", ["sides", "shocks", "clock"])
def test_one_skate_alone_is_not_asked_about_two(sensor, limits, name):
    view = RecordingView("run-1", "run", {"left_skate": sensor}, {})
    assert CHECKS[name].judge(view, limits) is None
