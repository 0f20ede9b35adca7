"""Sensor on the skate: mounting, filter, errors, noise, range, own clock, gaps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import butter, firwin, lfilter, sosfilt, sosfilt_zi
from scipy.spatial.transform import Rotation

from imustride.recording import SensorLog
from imustride.session import Axis, Sensor
from tests.generators.shapes import GRID_HZ, resample

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tests.generators.factors import Factors
    from tests.generators.ice import Felt
    from tests.generators.plan import Plan
    from tests.generators.shapes import Array

STANDARD_G = 9.80665
AXES: tuple[Axis, ...] = ("+x", "-x", "+y", "-y", "+z", "-z")


@dataclass(frozen=True, eq=False)
class Logged:
    """A log, the map from the true clock to its own, and the true times of spoiled samples [s]."""

    log: SensorLog
    offset_s: float
    drift: float
    spoiled_s: Array
    segment_from_sensor: Array

    def own(self, true_s: float | Array) -> float | Array:
        """Time on the sensor's clock [s] of a true time [s]."""
        return self.offset_s + true_s * (1.0 + self.drift)


def mount(f: Factors, rng: np.random.Generator) -> tuple[Array, tuple[Axis, Axis, Axis] | None]:
    """Draw segment_from_sensor (3, 3) and the axes as declared (None: any mounting, undeclared)."""
    if f["mounting"] == "any":
        free: Array = Rotation.from_quat(rng.normal(size=4)).as_matrix()
        return free, None
    order = rng.permutation(3)
    signs = rng.choice([-1.0, 1.0], 3)
    nominal = np.zeros((3, 3))
    nominal[np.arange(3), order] = signs
    if np.linalg.det(nominal) < 0.0:
        nominal[2] *= -1.0
    axes = tuple(AXES[2 * order[k] + int(nominal[k].sum() < 0.0)] for k in range(3))
    axis = rng.normal(size=3)
    off = Rotation.from_rotvec(axis / np.linalg.norm(axis) * np.radians(float(f["mounting_error_deg"])))
    return off.as_matrix() @ nominal, (axes[0], axes[1], axes[2])


@dataclass(frozen=True, eq=False)
class Unit:
    """One sensor as fitted for a day: what stays the same from run to run."""

    sensor: Sensor
    lever_m: Array
    segment_from_sensor: Array
    acc_matrix: Array
    gyro_matrix: Array
    acc_bias_m_s2: Array
    gyro_bias_rad_s: Array
    g_matrix: Array


def fit_unit(f: Factors, side: str, rng: np.random.Generator) -> Unit:
    """Draw the mounting and the errors of one sensor, and what the session declares of it."""
    inward = 1.0 if side == "left" else -1.0
    lever = rng.uniform([-0.03, 0.0, 0.08], [0.03, 0.05, 0.14]) * [1.0, inward, 1.0]
    turn, axes = mount(f, rng)
    skew = np.radians(float(f["misalignment_deg"]))
    acc = np.eye(3) + np.diag(rng.uniform(-1, 1, 3) * float(f["acc_scale"])) + _off_diagonal(rng, skew)
    gyro = np.eye(3) + np.diag(rng.uniform(-1, 1, 3) * float(f["gyro_scale"])) + _off_diagonal(rng, skew)
    acc_bias = float(f["acc_bias_m_s2"]) * rng.uniform(-1, 1, 3)
    gyro_bias = np.radians(float(f["gyro_bias_deg_s"])) * rng.uniform(-1, 1, 3)
    g_matrix = rng.uniform(-1, 1, (3, 3))
    told = tuple(float(np.round(v, 3)) for v in lever + 0.006 * rng.normal(size=3))
    sensor = Sensor(
        place="left_skate" if side == "left" else "right_skate",
        device=f"S{rng.integers(100, 999)}",
        axes=axes,
        position_m=(told[0], told[1], told[2]) if f["lever_declared"] else None,
        mount="holder",
        acceleration_range_g=float(f["acc_range_g"]) if f["range_declared"] else None,
        angular_velocity_range_deg_s=float(f["gyro_range_deg_s"]) if f["range_declared"] else None,
    )
    return Unit(sensor, lever, turn, acc, gyro, acc_bias, gyro_bias, g_matrix)


def make_log(
    f: Factors, plan: Plan, felt: Felt, unit: Unit, rng: np.random.Generator, clock: tuple[float, float] | None = None
) -> Logged:  # fmt: skip
    """Log the felt signals as the device would; with a clock of given offset [s] and drift, or one that is drawn."""
    turn = unit.segment_from_sensor
    signal = np.hstack([felt.force_m_s2 @ turn, felt.rate_rad_s @ turn])
    signal, cut_hz = _low_pass(f, signal)
    fs = float(f["rate_hz"])
    drift = rng.uniform(-1.0, 1.0) * float(f["clock_drift_ppm"]) * 1e-6
    offset = rng.uniform(-1.0, 1.0) * float(f["clock_offset_s"])
    offset, drift = clock or (offset, drift)
    begin, end = plan.log_s[0] + rng.uniform(0.0, 0.1), plan.log_s[1] - rng.uniform(0.0, 0.1)
    true_s = begin + np.arange(int((end - begin) * fs)) / (fs * (1.0 + drift))
    signal = resample(signal, true_s - float(f["delay_s"]))
    force, rate = signal[:, :3], signal[:, 3:]
    force, rate = _imperfect(f, unit, force, rate, rng)
    force, clipped_a = _digitise(force, float(f["acc_range_g"]) * STANDARD_G)
    rate, clipped_g = _digitise(rate, np.radians(float(f["gyro_range_deg_s"])))
    stamps = offset + true_s * (1.0 + drift) + rng.normal(size=len(true_s)) * float(f["stamp_jitter"]) / fs
    stamps = np.round(stamps / float(f["stamp_step_s"])) * float(f["stamp_step_s"])
    lost = _gaps(f, plan, true_s, rng)
    spoiled = true_s[clipped_a | clipped_g | lost]
    sensor = unit.sensor.model_copy(update=_told_filter(f, cut_hz))
    if f["gap_kind"] == "nan":
        force[lost], rate[lost] = np.nan, np.nan
    else:
        stamps, force, rate = stamps[~lost], force[~lost], rate[~lost]
    return Logged(
        SensorLog(sensor, stamps, force, rate, f"{unit.sensor.place}.csv"), offset, drift, spoiled, turn
    )


def _low_pass(f: Factors, signal: Array) -> tuple[Array, float]:
    """Filter as the device does, before sampling; also return the cut [Hz]."""
    cut = float(f["lowpass_ratio"]) * float(f["rate_hz"])
    if f["lowpass"] == "none":
        return signal, np.inf
    if f["lowpass"] == "fir":
        taps = firwin(2 * int(0.25 * GRID_HZ / cut) + 1, cut, fs=GRID_HZ)
        padded = np.vstack([np.repeat(signal[:1], len(taps), axis=0), signal])
        filtered: Array = lfilter(taps, 1.0, padded, axis=0)[len(taps) :]
        return filtered, cut
    sos = butter(2 if f["lowpass"] == "biquad" else 1, cut, fs=GRID_HZ, output="sos")
    zi = sosfilt_zi(sos)[:, :, None] * signal[0]
    return sosfilt(sos, signal, axis=0, zi=zi)[0], cut


def _imperfect(
    f: Factors, unit: Unit, force: Array, rate: Array, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Scale, misalignment, bias with flicker and warming, sensitivity of the gyroscope to g, noise."""
    n, fs = len(force), float(f["rate_hz"])
    acc_noise = float(f["acc_noise"]) * np.sqrt(fs / 2.0)
    gyro_noise = np.radians(float(f["gyro_noise_deg"])) * np.sqrt(fs / 2.0)
    time = np.arange(n)[:, None] / fs
    warm = np.radians(float(f["warming_deg_s"])) * (1.0 - np.exp(-time / 15.0)) * rng.uniform(0.3, 1.0, 3)
    felt_g = np.radians(float(f["g_sensitivity_deg_s"])) * (force / STANDARD_G) @ unit.g_matrix
    out_rate = rate @ unit.gyro_matrix.T + unit.gyro_bias_rad_s + warm + felt_g
    out_rate += gyro_noise * (rng.standard_normal((n, 3)) + _flicker(f, n, rng))
    out_force = force @ unit.acc_matrix.T + unit.acc_bias_m_s2
    out_force += acc_noise * (rng.standard_normal((n, 3)) + _flicker(f, n, rng))
    return out_force, out_rate


def _off_diagonal(rng: np.random.Generator, size: float) -> Array:
    entries = rng.uniform(-1, 1, (3, 3)) * size
    np.fill_diagonal(entries, 0.0)
    return entries


def _flicker(f: Factors, n: int, rng: np.random.Generator) -> Array:
    """Slow wander of the bias: a few first-order processes whose time constants are a decade apart."""
    fs = float(f["rate_hz"])
    total = np.zeros((n, 3))
    for constant_s in (0.1, 1.0, 10.0):
        keep = np.exp(-1.0 / (constant_s * fs))
        size = float(f["flicker"]) * 0.1 * np.sqrt(1.0 - keep**2)
        total += lfilter(np.array([size]), np.array([1.0, -keep]), rng.standard_normal((n, 3)), axis=0)
    return total


def _digitise(x: Array, limit: float) -> tuple[Array, NDArray[np.bool_]]:
    """Round to 16 bits over the range and clip; also say which samples are clipped."""
    lsb = limit / 32768.0
    counts = np.round(x / lsb)
    clipped = np.any((counts >= 32767) | (counts <= -32768), axis=1)
    return np.clip(counts, -32768, 32767) * lsb, clipped


def _gaps(f: Factors, plan: Plan, true_s: Array, rng: np.random.Generator) -> NDArray[np.bool_]:
    """Which samples are lost."""
    lost = np.zeros(len(true_s), dtype=bool)
    for _ in range(int(f["gaps"])):
        start = rng.uniform(plan.start_s, plan.brake_s[0])
        length = np.exp(rng.uniform(np.log(2.0 / float(f["rate_hz"])), np.log(0.2)))
        lost |= (true_s >= start) & (true_s < start + length)
    return lost


def _told_filter(f: Factors, cut_hz: float) -> dict[str, float | None]:
    """What the session says of the device's filter."""
    told = bool(f["lowpass_declared"])
    delay_s = float(f["delay_s"])
    return {
        "bandwidth_hz": round(cut_hz, 1) if told and np.isfinite(cut_hz) else None,
        "delay_ms": round(1000.0 * delay_s, 2) if told and delay_s > 0.0 else None,
    }
