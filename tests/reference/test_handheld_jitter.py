"""A real log with uneven stamps: hand-held turns, about 99 Hz by its usual step.

Source: example data of the Fusion library (MIT licence), README beside the data: 13514 rows, steps
of 7.6 to 30.2 ms, gyroscope up to 365 deg/s, abs(acceleration) at rest 0.993 g.
"""

import os
from pathlib import Path

import numpy as np
import pytest

from imustride.constants import STANDARD_GRAVITY_M_S2
from imustride.errors import FileFormatError
from imustride.inspection import inspect
from imustride.loaders import load_file, regularise
from imustride.session import Columns, Sensor, Units

DATA = Path(os.environ.get("IMUSTRIDE_OPEN_DATA", Path(__file__).parents[2] / "../shared/data"))
FILE = DATA / "handheld_jitter/sensor_data.csv"
pytestmark = pytest.mark.skipif(
    not FILE.is_file(), reason=f"open data not found: {FILE.name} (IMUSTRIDE_OPEN_DATA)"
)

COLUMNS = Columns(
    time="Time (s)",
    acceleration=tuple(f"Accelerometer {axis} (g)" for axis in "XYZ"),
    angular_velocity=tuple(f"Gyroscope {axis} (deg/s)" for axis in "XYZ"),
)
TICK_S = 2.51975e-3
UNITS = Units(time="s", acceleration="g", angular_velocity="deg/s")


@pytest.fixture(scope="module")
def log():
    return load_file(FILE, None, Sensor(place="trunk", columns=COLUMNS, units=UNITS))


@pytest.fixture(scope="module")
def recording(log):
    return regularise(log)


@pytest.fixture(scope="module")
def report():
    (report,) = inspect(FILE, COLUMNS, UNITS)
    return report


def test_the_stamps_are_ticks_of_a_clock_and_the_sampling_is_even(log, recording):
    # The steps are 3, 4 or 12 ticks of 2.52 ms. Rounding to a tick scatters by tick / sqrt(12).
    ticks = np.diff(log.time_s) / TICK_S
    assert set(np.rint(ticks).astype(int)) == {3, 4, 12}
    assert np.abs(ticks - np.rint(ticks)).max() < 0.01
    assert recording.quality.jitter_sd_s == pytest.approx(TICK_S / np.sqrt(12), rel=0.01)
    # Counting samples and lost ones between the first and the last stamp, without any fit.
    lost = 2 * (np.rint(ticks) == 12).sum()
    assert recording.rate_hz == pytest.approx((len(log.time_s) - 1 + lost) / np.ptp(log.time_s), rel=3e-5)
    assert recording.quality.missing_samples == lost == 20


def test_steps_of_thirty_milliseconds_are_gaps(log, recording):
    before = np.flatnonzero(np.diff(log.time_s) > 0.02)
    assert len(before) == len(recording.quality.gaps) == 10
    for (start_s, to_s), row in zip(recording.quality.gaps, before, strict=True):
        # Within one tick of the stamps.
        assert start_s == pytest.approx(log.time_s[row], abs=2.6e-3)
        assert to_s == pytest.approx(log.time_s[row + 1], abs=2.6e-3)
    assert recording.quality.bridged == 0


def test_every_row_is_on_the_grid_untouched(log, recording):
    np.testing.assert_array_equal(recording.acceleration_m_s2[recording.measured], log.acceleration_m_s2)
    off = np.abs(recording.time_s[recording.measured] - log.time_s)
    assert off.max() < 2.6e-3


def test_short_steps_come_as_regularly_as_rounding_makes_them(log, recording):
    # Rounding of an even series gives two neighbouring distances between its short steps; a sampling
    # that jitters by chance would spread them widely (and its stamps were to be believed).
    ticks = np.rint(np.diff(log.time_s) / TICK_S).astype(int)
    distances, counts = np.unique(np.diff(np.flatnonzero(ticks == 3)), return_counts=True)
    usual = distances[np.argsort(counts)[-2:]]
    assert np.ptp(usual) == 1
    assert counts[np.isin(distances, usual)].sum() > 0.94 * counts.sum()
    assert distances.min() >= 29
    assert distances.max() <= 33
    # 4 ticks a period, less one every 31.6 periods.
    mean = np.average(distances, weights=counts)
    assert recording.rate_hz == pytest.approx(1 / (TICK_S * (4 - 1 / mean)), rel=2e-4)


def test_inspection_finds_what_its_readme_says(report):
    assert report.rows == 13514
    assert report.rest.gravity / 9.80665 == pytest.approx(0.993, abs=0.001)
    assert np.degrees(report.peak_angular_velocity) == pytest.approx(365, abs=5)
    assert report.rest.up == "+z"
    # Turns of gravity against the gyroscope: units and signs are right.
    assert report.gyroscope_scale == pytest.approx(1.0, abs=0.05)
    assert not [finding for finding in report.findings if finding.level == "error"]


@pytest.mark.parametrize(
    ("acceleration", "angular_velocity", "looks"),
    [("m/s^2", "deg/s", ["this looks like g"]), ("g", "rad/s", ["this looks like deg/s"]),
     ("m/s^2", "rad/s", ["this looks like g", "this looks like deg/s"])],
)  # fmt: skip
def test_wrong_units_are_noticed(acceleration, angular_velocity, looks, tmp_path):
    bare = tmp_path / "bare.csv"
    header, rest = FILE.read_text(encoding="utf-8").split("\n", 1)
    bare.write_text(header.replace(" (g)", "").replace(" (deg/s)", "") + "\n" + rest, encoding="utf-8")
    columns = Columns(
        time="Time (s)",
        acceleration=tuple(f"Accelerometer {axis}" for axis in "XYZ"),
        angular_velocity=tuple(f"Gyroscope {axis}" for axis in "XYZ"),
    )
    (report,) = inspect(
        bare, columns, Units(time="s", acceleration=acceleration, angular_velocity=angular_velocity)
    )
    errors = [finding.text for finding in report.findings if finding.level == "error"]
    assert len(errors) == len(looks)
    for error, words in zip(errors, looks, strict=True):
        assert words in error


def test_units_that_contradict_the_header_are_refused():
    with pytest.raises(FileFormatError, match="the header says 'g', declared is 'm/s\\^2'"):
        inspect(FILE, COLUMNS, Units(time="s", acceleration="m/s^2", angular_velocity="deg/s"))


def test_without_any_declaration_columns_are_guessed_for_display_and_units_read_from_the_header():
    (report,) = inspect(FILE)
    assert report.units == "SI"
    assert report.rest.gravity == pytest.approx(0.993 * STANDARD_GRAVITY_M_S2, abs=0.01)
    text = " ".join(finding.text for finding in report.findings)
    assert "acceleration taken from Accelerometer X (g), Accelerometer Y (g), Accelerometer Z (g)" in text
    assert not [finding for finding in report.findings if finding.level == "error"]
