"""Invented recordings on a table: a sensor of known errors set by hand from position to position, or turned.

    python -m tests.generators.table    # makes those in recordings/table again

Shares nothing with the calibration: its own rotations, noise and way from true to raw.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from scipy.signal import butter, sosfilt
from scipy.spatial.transform import Rotation, RotationSpline

from imustride.recording import Recording
from imustride.session import Sensor, Units

G = 9.8191
AXES = {
    "+x": (1, 0, 0),
    "-x": (-1, 0, 0),
    "+y": (0, 1, 0),
    "-y": (0, -1, 0),
    "+z": (0, 0, 1),
    "-z": (0, 0, -1),
}
FACES = np.array([AXES[name] for name in ("+z", "-z", "+x", "-x", "+y", "-y")], dtype=float)
SLANTED = np.array([(1, 1, 0), (-1, 1, 0), (1, 0, -1), (0, -1, 1), (-1, 0, -1), (0, -1, -1)]) / np.sqrt(2)


@dataclass(frozen=True, eq=False)
class Device:
    """Raw = response @ true + bias: m/s^2 and rad/s, or counts."""

    bias: np.ndarray
    response: np.ndarray
    rate_bias: np.ndarray
    rate_response: np.ndarray
    counts: bool = False

    @property
    def matrix(self):
        return np.linalg.inv(self.response)

    @property
    def rate_matrix(self):
        return np.linalg.inv(self.rate_response)


@dataclass(frozen=True)
class Conditions:
    """How the recording is made. Standard deviations; tremor of a hand at 8 to 12 Hz, sway below 1 Hz."""

    rate_hz: float = 200.0
    hold_s: float = 3.0
    move_s: float = 1.5
    noise_m_s2: float = 0.015
    noise_rad_s: float = 0.0015
    tremor_m_s2: float = 0.05
    tremor_rad: float = 0.0015
    sway_rad: float = 0.002
    repeat_m_s2: float = 0.001  # what is not the same when a position is visited again
    wander_rad_s: float = 2e-4
    steps: tuple[float, float] = (0.0, 0.0)  # resolution; 0: none


@dataclass(frozen=True, eq=False)
class Table:
    """A recording and its truth; `held_s` from and to of each position."""

    recording: Recording
    device: Device
    held_s: np.ndarray
    orientation: Rotation = field(repr=False)


def draw_device(rng, *, counts=False):
    """Draw a low-cost sensor: bias 30 mg and 1 deg/s, scale 1 %, axes out of square by up to 1 degree."""
    skew = np.triu(rng.normal(0, np.radians(0.5), (3, 3)), 1)
    matrix = (np.eye(3) + skew) @ np.diag(1 + rng.normal(0, 0.01, 3))
    rate_matrix = np.eye(3) + rng.normal(0, np.radians(0.5), (3, 3)) + np.diag(rng.normal(0, 0.01, 3))
    scale, rate_scale = (2048 / 9.80665, 16.4 * 180 / np.pi) if counts else (1.0, 1.0)
    bias = rng.normal(0, 0.3, 3) * scale + (32768 if counts else 0)
    rate_bias = rng.normal(0, np.radians(1), 3) * rate_scale + (32768 if counts else 0)
    return Device(
        bias, scale * np.linalg.inv(matrix), rate_bias, rate_scale * np.linalg.inv(rate_matrix), counts
    )


def hand_set(rng, directions=None, tilt_deg=6.0):
    """Attitudes (sensor to earth) with the given direction of the sensor up, set by hand, any heading."""
    if directions is None:
        directions = np.vstack((FACES, SLANTED))
    found = []
    for up in directions:
        tilted = up + rng.normal(0, np.radians(tilt_deg), 3)
        level, _ = Rotation.align_vectors([[0, 0, 1]], [tilted / np.linalg.norm(tilted)])
        found.append(Rotation.from_euler("z", rng.uniform(0, 2 * np.pi)) * level)
    return Rotation.concatenate(found)


def record(rng, device, attitudes, conditions=None, *, move=None):
    """Hold each attitude, and move to the next in between; `move` gives other motions, see `turn_about`."""
    c = conditions or Conditions()
    knots_s, knots, held = [0.0], [attitudes[0]], []
    for i in range(len(attitudes)):
        begin_s = knots_s[-1]
        held.append((begin_s, begin_s + c.hold_s))
        still_s = np.linspace(0, c.hold_s, 31)[1:]  # knots enough that the spline rests there, too
        knots_s += list(begin_s + still_s)
        knots += [attitudes[i]] * len(still_s)
        if i + 1 < len(attitudes):
            way = _way(attitudes[i], attitudes[i + 1]) if move is None or move[i] is None else move[i]
            share = np.linspace(0, 1, 61)[1:]
            smooth = share**3 * (10 - 15 * share + 6 * share**2)
            duration_s = c.move_s * max(1.0, np.linalg.norm(way) / 3)
            knots_s += list(begin_s + c.hold_s + share * duration_s)
            knots += [attitudes[i] * Rotation.from_rotvec(s * way) for s in smooth]
    return _measured(rng, device, np.array(knots_s), Rotation.concatenate(knots), np.array(held), c)


def _way(here, there):
    return (here.inv() * there).as_rotvec()


def turn_about(axis, turns=1.0):
    """Return a motion of whole turns about an axis of the sensor."""
    return 2 * np.pi * turns * np.asarray(AXES[axis], dtype=float)


def _measured(rng, device, knots_s, knots, held, c):
    spline = RotationSpline(knots_s, knots)
    time_s = np.arange(0, knots_s[-1], 1 / c.rate_hz)
    n = len(time_s)
    shake = _band(rng, n, c.rate_hz, 8, 12) * c.tremor_rad + _band(rng, n, c.rate_hz, 0.2, 1) * c.sway_rad
    orientation = spline(time_s) * Rotation.from_rotvec(shake)
    rate = Rotation.from_rotvec(shake).inv().apply(spline(time_s, 1)) + np.gradient(
        shake, 1 / c.rate_hz, axis=0
    )
    hand = _band(rng, n, c.rate_hz, 8, 12) * c.tremor_m_s2
    moving = np.linalg.norm(spline(time_s, 1), axis=1, keepdims=True)
    hand = hand + moving * _band(rng, n, c.rate_hz, 0.5, 3)
    true = orientation.inv().apply(hand + np.array([0, 0, G]))
    steps_to = np.searchsorted([to_s for _, to_s in held], time_s)
    repeat = rng.normal(0, c.repeat_m_s2, (len(held) + 1, 3))[steps_to]
    wander = rng.normal(0, c.wander_rad_s, (len(held) + 1, 3))[steps_to]
    return Table(_logged(rng, device, c, true + repeat, rate + wander), device, held, orientation)


def turntable(rng, device, rpm, conditions=None, axes=("+x", "+y", "+z"), radius_m=0.02):
    """Rest, turn steadily for 10 s and rest, with each axis up in turn; no movement in between."""
    c = conditions or Conditions()
    omega = 2 * np.pi * rpm / 60
    seconds = np.arange(0, 20, 1 / c.rate_hz)
    speed = omega * np.interp(seconds, (3, 5, 15, 17), (0, 1, 1, 0))[:, np.newaxis]
    up = [np.asarray(AXES[name], dtype=float) for name in axes]
    out = [np.roll(np.abs(direction), 1) for direction in up]
    true = [G * here + radius_m * speed**2 * there for here, there in zip(up, out, strict=True)]
    rate = [speed * here for here in up]
    return _logged(rng, device, c, np.concatenate(true), np.concatenate(rate))


def _logged(rng, device, c, true, rate):
    true = true + rng.normal(0, c.noise_m_s2, true.shape)
    rate = rate + rng.normal(0, c.noise_rad_s, rate.shape)
    raw = true @ device.response.T + device.bias
    return _recording(device, c, raw, rate @ device.rate_response.T + device.rate_bias)


def _recording(device, c, raw, raw_rate):
    steps = (1.0, 1.0) if device.counts else c.steps
    raw, raw_rate = (
        np.round(values / step) * step if step else values
        for values, step in zip((raw, raw_rate), steps, strict=True)
    )
    unit = "counts" if device.counts else None
    units = Units(time="s", acceleration=unit or "m/s^2", angular_velocity=unit or "rad/s")
    sensor = Sensor(place="trunk", device="S042", units=units)
    n = len(raw)
    flags = np.zeros((n, 2), dtype=bool)
    return Recording(
        sensor,
        0.0,
        c.rate_hz,
        np.asfortranarray(raw),
        np.asfortranarray(raw_rate),
        np.ones(n, dtype=bool),
        flags,
    )


def _band(rng, count, rate_hz, low_hz, high_hz):
    """Noise of a band, three axes, standard deviation one."""
    sos = butter(2, (low_hz, high_hz), btype="bandpass", fs=rate_hz, output="sos")
    extra = int(4 * rate_hz / low_hz)
    noise = sosfilt(sos, rng.normal(size=(count + extra, 3)), axis=0)[extra:]
    return noise / noise.std(axis=0)


def write_csv(path, recording):
    """Write a recording as text with time."""
    table = np.column_stack((recording.time_s, recording.acceleration_m_s2, recording.angular_velocity_rad_s))
    digits = "%d" if recording.sensor.units.acceleration == "counts" else "%.5f"
    np.savetxt(
        path, table, delimiter=",", header="time,ax,ay,az,gx,gy,gz", comments="", fmt=["%.3f"] + [digits] * 6
    )


def drifted(device, bias_m_s2, scale_ratio):
    """Return a device some weeks later."""
    return Device(
        device.bias + np.asarray(bias_m_s2),
        device.response * (1 + np.asarray(scale_ratio))[:, np.newaxis],
        device.rate_bias,
        device.rate_response,
        device.counts,
    )


def examples(folder):
    """Write the recordings of the examples: device S042 on two dates, C7 in counts on one."""
    folder.mkdir(parents=True, exist_ok=True)
    laid_down = Conditions(rate_hz=50, hold_s=2, tremor_m_s2=0.01, tremor_rad=2e-4, sway_rad=2e-4)
    rng = np.random.default_rng(42)
    first, counting = draw_device(rng), draw_device(rng, counts=True)
    second = drifted(first, (0.012, -0.004, 0.006), (2e-4, -1e-4, 3e-4))
    for name, device in (
        ("S042-2026-09-20", first),
        ("S042-2026-10-18", second),
        ("C7-2026-10-18", counting),
    ):
        write_csv(folder / f"{name}.csv", record(rng, device, hand_set(rng), laid_down).recording)


if __name__ == "__main__":
    examples(Path(__file__).resolve().parents[2] / "recordings" / "table")
