"""Orientation against optical truth: six trials of the BROAD benchmark.

Source: Laidig, Caruso, Cereatti, Seel 2021, BROAD, Data 6(7):72, doi 10.3390/data6070072 (CC BY 4.0).
Inclination error: the angle between the found and the true vertical, root mean square over the
samples that the authors mark as movement and where the optical truth is there.

The sensor in these trials delays its samples by 1.2 sampling intervals (4.2 ms): its angular velocity
lags that of the optical truth, as the first test finds without any filter. Filters are therefore
compared at the instants that the samples were really taken.
"""

from dataclasses import dataclass

import h5py
import numpy as np
import pytest
from scipy.io import loadmat
from vqf import offlineVQF

from imustride.frames import matrix_from_quaternion
from imustride.orientation import Rest
from imustride.registry import methods

TRIALS = {
    "02": "02_undisturbed_slow_rotation_B.mat",
    "07": "07_undisturbed_fast_rotation_B.hdf5",
    "12": "12_undisturbed_slow_translation_C.mat",
    "16": "16_undisturbed_fast_translation_B.mat",
    "21": "21_undisturbed_fast_combined.mat",
    "25": "25_disturbed_tapping_B.mat",
}
DELAY_SAMPLES = 1.2
# README of the data: vqf 2.1.2, offline, six axes, defaults, rows of the file paired as they stand.
PAIRED_ROWS_DEG = {"02": 0.31, "07": 0.96, "12": 0.19, "16": 0.43, "21": 0.95, "25": 0.27}
TARGET_DEG = 0.55


@dataclass(frozen=True, eq=False)
class Trial:
    rate_hz: float
    gyro: np.ndarray
    force: np.ndarray
    quaternion: np.ndarray  # w, x, y, z, earth_from_sensor; NaN where the cameras lost the markers
    moving: np.ndarray

    @property
    def rest(self):
        """The quiet time before the motion, half a second clear of both ends."""
        margin = int(0.5 * self.rate_hz)
        return Rest(slice(margin, int(np.flatnonzero(self.moving)[0]) - margin))

    @property
    def counted(self):
        return self.moving & np.isfinite(self.quaternion).all(axis=1)


def read(path):
    names = ("imu_gyr", "imu_acc", "opt_quat", "movement", "sampling_rate")
    if path.suffix == ".mat":
        content = loadmat(path, squeeze_me=True)
    else:
        with h5py.File(path) as file:
            content = {name: file[name][()] for name in names[:-1]} | dict(file.attrs)
    gyro, force, quaternion, moving, rate_hz = (np.asarray(content[name]) for name in names)
    return Trial(float(rate_hz), gyro.astype(float), force.astype(float), quaternion, moving.astype(bool))


@pytest.fixture(scope="module")
def trials(open_data):
    folder = open_data("broad_pick")
    return {number: read(folder / name) for number, name in TRIALS.items()}


def optical_rate(trial):
    """Angular velocity over two sampling intervals around each sample, sensor axes [rad/s]."""
    turn = matrix_from_quaternion(trial.quaternion)
    step = np.swapaxes(turn[:-2], 1, 2) @ turn[2:]
    vector = np.stack(
        [step[:, 2, 1] - step[:, 1, 2], step[:, 0, 2] - step[:, 2, 0], step[:, 1, 0] - step[:, 0, 1]]
    )
    # The antisymmetric part is the sine; the angles are below 6 degrees, the arc sine below 0.3 % off it.
    return 0.5 * vector.T * trial.rate_hz / 2


def delay_samples(trial):
    """Delay of the gyroscope against the optical truth that makes their angular velocities most alike."""
    truth = optical_rate(trial)
    index = np.arange(1, len(trial.gyro) - 1)
    bias = trial.gyro[trial.rest.before].mean(axis=0)
    usable = np.isfinite(truth).all(axis=1) & trial.moving[1:-1]
    usable[:50] = usable[-50:] = False
    where = np.arange(len(trial.gyro))
    shifts = np.arange(0, 2.41, 0.1)
    left = []
    for shift in shifts:
        gyro = [np.interp(index[:, None] + [[shift - 1, shift, shift + 1]], where, g) for g in trial.gyro.T]
        mean = np.stack([0.25 * a[:, 0] + 0.5 * a[:, 1] + 0.25 * a[:, 2] for a in gyro], axis=1) - bias
        fit = np.linalg.lstsq(mean[usable], truth[usable], rcond=None)[0]
        left.append(np.sum((mean[usable] @ fit - truth[usable]) ** 2))
    return shifts[int(np.argmin(left))]


def inclination_deg(trial, found, delay=0.0, span=slice(None)):
    """Root mean square inclination error of `found` (n, 3, 3), read `delay` samples later."""
    counted = np.zeros_like(trial.counted)
    counted[span] = trial.counted[span]
    true_up = matrix_from_quaternion(trial.quaternion[counted])[:, 2]
    sample = np.flatnonzero(counted) + delay
    up = np.stack([np.interp(sample, np.arange(len(found)), axis) for axis in found[:, 2].T], axis=1)
    sine = np.linalg.norm(np.cross(up, true_up), axis=1)
    angle = np.arctan2(sine, np.sum(up * true_up, axis=1))
    return float(np.rad2deg(np.sqrt(np.mean(angle**2))))


def estimate(name, trial, stop=None):
    return methods("orientation")[name].estimate(
        trial.gyro[:stop], trial.force[:stop], trial.rate_hz, trial.rest
    )


def first_seconds_deg(name, trial, seconds):
    """Inclination error over the first seconds of motion, from a log that ends there."""
    begin = int(np.flatnonzero(trial.moving)[0])
    end = begin + int(seconds * trial.rate_hz)
    return inclination_deg(trial, estimate(name, trial, end + 2), DELAY_SAMPLES, slice(begin, end))


def test_the_sensor_lags_the_cameras_in_every_trial(trials):
    found = {number: delay_samples(trial) for number, trial in trials.items()}
    assert all(abs(delay - DELAY_SAMPLES) <= 0.11 for delay in found.values()), found


def test_the_library_gives_the_published_levels_with_rows_paired_as_they_stand(trials):
    found = {}
    for number, trial in trials.items():
        signals = np.ascontiguousarray(trial.gyro), np.ascontiguousarray(trial.force)
        attitude = matrix_from_quaternion(offlineVQF(*signals, None, 1 / trial.rate_hz)["quat6D"])
        found[number] = inclination_deg(trial, attitude)
    assert found == pytest.approx(PAIRED_ROWS_DEG, abs=0.0051)  # two decimals are printed there


def test_vqf_keeps_the_vertical(trials):
    found = [inclination_deg(t, estimate("vqf", t), DELAY_SAMPLES) for t in trials.values()]
    assert np.mean(found) <= TARGET_DEG
    # Measured .30; half a sample early, as the library comes, gives .43 here.
    assert np.mean(found) == pytest.approx(0.30, abs=0.02)


# Mean over the six trials, measured with ahrs 0.4.0 at its default gains and the gyroscope's bias
# removed. Over 30 trials of the same benchmark, rows paired and bias left in, the means are 1.97, 9.5
# and 24.7; over these six 2.3, 11.3 and 26.2.
@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "level_deg"), [("madgwick", 1.69), ("mahony", 11.28), ("complementary", 26.12)]
)
def test_ahrs_filters_have_their_known_levels(trials, name, level_deg):
    found = [inclination_deg(t, estimate(name, t), DELAY_SAMPLES) for t in trials.values()]
    assert np.mean(found) == pytest.approx(level_deg, rel=0.02)


# A hand shakes a box: the mean acceleration over seconds is nothing, which suits vqf. In a sprint it is
# not (`tests/benchmark/orientation_accuracy.py`). Strapdown knows no gravity after the stance here.
@pytest.mark.parametrize(
    ("seconds", "mean_deg", "worst_deg"), [(4, 0.3, 0.45), (6, 0.4, 0.65), (8, 0.5, 0.9)]
)
def test_strapdown_holds_for_the_seconds_of_a_run(trials, seconds, mean_deg, worst_deg):
    found = [first_seconds_deg("strapdown", trial, seconds) for trial in trials.values()]
    assert np.mean(found) <= mean_deg
    assert np.max(found) <= worst_deg
