"""What goes wrong with sensors on skates, planted into simulated recordings at a realistic size."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.signal import butter, sosfilt, sosfilt_zi
from scipy.spatial.transform import Rotation

from imustride.cutting.stance import cut
from imustride.loaders import regularise
from imustride.session import Units
from imustride.simulation.sensors import _gain
from tests.generators.device import Unit

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from imustride.recording import SensorLog
    from tests.generators.fitted import Fitted

    Logs = dict[str, SensorLog]

LEFT, RIGHT = "left_skate", "right_skate"
UNITS = Units(time="s", acceleration="m/s^2", angular_velocity="deg/s")
MG = 0.00980665


@dataclass(frozen=True)
class Fault:
    """One thing that goes wrong.

    Parameters
    ----------
    names : tuple of str
        Checks of which one must notice it.
    kinds : tuple of str
        In which recordings it is planted: "run", "fitting".
    first, second : callable or None
        Overrides of the generators, from a random stream; None where that generator cannot have the fault.
    after : callable
        What is done to the logs.
    calibrations : callable
        What is done to the declared calibrations.
    loose : bool
        The left sensor sits loose.
    axes : bool
        Only where the axes are declared.
    """

    names: tuple[str, ...]
    kinds: tuple[str, ...] = ("run", "fitting")
    first: Callable[[np.random.Generator], dict[str, Any]] | None = lambda _: {}
    second: Callable[[np.random.Generator], dict[str, Any]] | None = lambda _: {}
    after: Callable[[Logs, np.random.Generator], Logs] = lambda logs, _: logs
    calibrations: Callable[[dict[str, Path | None], np.random.Generator], dict[str, Path | None]] = (
        lambda files, _: files
    )
    loose: bool = False
    axes: bool = False


def declared(logs: Logs) -> Logs:
    """Give the sensors of both generators their units."""
    return {
        place: replace(log, sensor=log.sensor.model_copy(update={"units": UNITS}))
        for place, log in logs.items()
    }


def calibrate(simulated: Fitted, place: str, folder: Path, rng: np.random.Generator, days: int = 12) -> Path:
    """Write the calibration a good table would give, with what it leaves over: 2 mg, and up to 8 mg by the cold."""
    errors = simulated.errors[place]
    if isinstance(errors, Unit):
        matrices = (errors.acc_matrix, errors.gyro_matrix)
        bias = errors.acc_bias_m_s2
    else:
        matrices = (
            _gain(errors.acceleration_scale_ratio, errors.acceleration_misalignment_deg),
            _gain(errors.gyro_scale_ratio, errors.gyro_misalignment_deg),
        )
        bias = np.asarray(errors.acceleration_bias_m_s2)
    bias = bias + MG * (rng.normal(0, 2, 3) + rng.uniform(-8, 8, 3))
    date = np.datetime64("2026-10-03") - np.timedelta64(days, "D")
    device = simulated.logs[place].sensor.device
    text = f'device = "{device}"\ndate = {date}\nmethod = "positions"\ngravity_m_s2 = 9.81\n'
    for name, key, offset, matrix in (
        ("accelerometer", "bias_m_s2", bias, matrices[0]),
        ("gyroscope", "bias_rad_s", np.zeros(3), matrices[1]),
    ):
        rows = np.linalg.inv(matrix).tolist()
        text += f"\n[{name}]\n{key} = {[float(value) for value in offset]}\nmatrix = {rows}\n"
    path = folder / f"{place}.toml"
    path.write_text(text, encoding="utf-8")
    return path


def _left(change: Callable[[SensorLog, np.random.Generator], SensorLog]) -> Callable[..., Logs]:
    """Do something to the left log only."""
    return lambda logs, rng: {**logs, LEFT: change(logs[LEFT], rng)}


def _rows(log: SensorLog, keep: np.ndarray) -> SensorLog:
    return replace(
        log,
        time_s=log.time_s[keep],
        acceleration_m_s2=log.acceleration_m_s2[keep],
        angular_velocity_rad_s=log.angular_velocity_rad_s[keep],
    )


def _period_s(log: SensorLog) -> float:
    return float(np.median(np.diff(log.time_s)))


def _late_stamps(log: SensorLog, rng: np.random.Generator) -> SensorLog:
    """Stamp samples as they arrive over the air: late by up to one to three periods, in order."""
    late = rng.uniform(0.0, rng.uniform(1.0, 3.0) * _period_s(log), len(log.time_s))
    return replace(log, time_s=np.sort(log.time_s + late))


def _holes(log: SensorLog, rng: np.random.Generator) -> SensorLog:
    """Lose one to four pieces of 0.06 to 0.25 s."""
    keep = np.ones(len(log.time_s), dtype=bool)
    for _ in range(int(rng.integers(1, 5))):
        at_s = rng.uniform(log.time_s[0] + 1.0, log.time_s[-1] - 1.0)
        keep &= ~((log.time_s > at_s) & (log.time_s < at_s + rng.uniform(0.06, 0.25)))
    return _rows(log, keep)


def _dropouts(log: SensorLog, rng: np.random.Generator) -> SensorLog:
    """Lose 2 to 6 % of the rows, one by one."""
    return _rows(log, rng.random(len(log.time_s)) > rng.uniform(0.02, 0.06))


def _dead(log: SensorLog, rng: np.random.Generator) -> SensorLog:
    """Let one axis show nothing."""
    name = str(rng.choice(["acceleration_m_s2", "angular_velocity_rad_s"]))
    values = getattr(log, name).copy()
    values[:, rng.integers(3)] = rng.choice([0.0, 0.31])
    return replace(log, **{name: values})


def _times(name: str, low: float, high: float) -> Callable[[SensorLog, np.random.Generator], SensorLog]:
    return lambda log, rng: replace(log, **{name: getattr(log, name) * rng.uniform(low, high)})


def _noisy(log: SensorLog, rng: np.random.Generator) -> SensorLog:
    """Add noise ten times that of a good sensor, on one triad."""
    width_hz = 0.5 / _period_s(log)
    if rng.random() < 0.5:
        noise = rng.normal(0, rng.uniform(0.04, 0.15) * np.sqrt(width_hz), log.acceleration_m_s2.shape)
        return replace(log, acceleration_m_s2=log.acceleration_m_s2 + noise)
    noise = rng.normal(0, np.radians(rng.uniform(0.12, 0.5)) * np.sqrt(width_hz), log.acceleration_m_s2.shape)
    return replace(log, angular_velocity_rad_s=log.angular_velocity_rad_s + noise)


def _biased(log: SensorLog, rng: np.random.Generator) -> SensorLog:
    way = rng.normal(size=3)
    bias = np.radians(rng.uniform(7.0, 25.0)) * way / np.linalg.norm(way)
    return replace(log, angular_velocity_rad_s=log.angular_velocity_rad_s + bias)


def _dull(log: SensorLog, rng: np.random.Generator) -> SensorLog:
    """Filter signal and noise as the device's own low pass would, set far too low."""
    sections = butter(2, rng.uniform(10.0, 28.0), fs=1.0 / _period_s(log), output="sos")
    passed = []
    for values in (log.acceleration_m_s2, log.angular_velocity_rad_s):
        start = sosfilt_zi(sections)[:, :, None] * values[0]
        passed.append(sosfilt(sections, values, axis=0, zi=start)[0])
    return replace(log, acceleration_m_s2=passed[0], angular_velocity_rad_s=passed[1])


def _usual_rate(rng: np.random.Generator) -> dict[str, Any]:
    return {"rate_hz": float(rng.choice([200.0, 250.0, 400.0, 500.0, 1000.0]))}


def _axes(log: SensorLog, order: Callable[[tuple[str, str, str]], tuple[str, str, str]]) -> SensorLog:
    return replace(log, sensor=log.sensor.model_copy(update={"axes": order(log.sensor.axes)}))


def _other_up(log: SensorLog, _: np.random.Generator) -> SensorLog:
    return _axes(log, lambda axes: (axes[1], axes[2], axes[0]))


def _flip(axis: str) -> str:
    return ("-" if axis[0] == "+" else "+") + axis[1]


def _other_forward(log: SensorLog, rng: np.random.Generator) -> SensorLog:
    """Declare forward a quarter or a half turn away."""
    if rng.random() < 0.5:
        return _axes(log, lambda axes: (axes[1], _flip(axes[0]), axes[2]))
    return _axes(log, lambda axes: (_flip(axes[0]), _flip(axes[1]), axes[2]))


def _tilted(log: SensorLog, rng: np.random.Generator) -> SensorLog:
    """Turn the sensor by 45 to 60 degrees about its own forward or left axis, as declared before."""
    forward, left, _ = log.sensor.axes
    name = forward if rng.random() < 0.5 else left
    axis = np.zeros(3)
    axis["xyz".index(name[1])] = 1.0
    turn = Rotation.from_rotvec(
        axis * np.radians(rng.uniform(45.0, 60.0)) * rng.choice([-1.0, 1.0])
    ).as_matrix()
    return replace(
        log,
        acceleration_m_s2=log.acceleration_m_s2 @ turn.T,
        angular_velocity_rad_s=log.angular_velocity_rad_s @ turn.T,
    )


def _swapped(logs: Logs, _: np.random.Generator) -> Logs:
    """Exchange the two sensors, or their files."""
    left, right = logs[LEFT], logs[RIGHT]
    return {
        LEFT: replace(right, sensor=left.sensor.model_copy(update={"axes": right.sensor.axes})),
        RIGHT: replace(left, sensor=right.sensor.model_copy(update={"axes": left.sensor.axes})),
    }


def _copied(logs: Logs, _: np.random.Generator) -> Logs:
    return {**logs, RIGHT: replace(logs[LEFT], sensor=logs[RIGHT].sensor)}


def _drifting(log: SensorLog, rng: np.random.Generator) -> SensorLog:
    drift = np.exp(rng.uniform(np.log(500e-6), np.log(5000e-6))) * rng.choice([-1.0, 1.0])
    return replace(log, time_s=log.time_s[0] + (log.time_s - log.time_s[0]) * (1 + drift))


def _between(
    logs: Logs, begin: Callable[..., float], end: Callable[..., float], places: tuple[str, ...]
) -> Logs:
    """Keep the rows between two times told from the run's motion, by place."""
    out = dict(logs)
    for place in places:
        found = cut(regularise(logs[place]))
        time_s = logs[place].time_s
        out[place] = _rows(logs[place], (time_s >= begin(found)) & (time_s <= end(found)))
    return out


def _no_shocks(logs: Logs, _: np.random.Generator) -> Logs:
    return _between(
        logs, lambda c: c.stance_s[0], lambda c: c.stop_s[1] if c.stop_s else c.motion_s[1], (LEFT, RIGHT)
    )


def _died(logs: Logs, rng: np.random.Generator) -> Logs:
    """The left logger stops in the run."""
    share = rng.uniform(0.4, 0.75)
    return _between(
        logs, lambda _: -np.inf, lambda c: c.motion_s[0] + share * (c.motion_s[1] - c.motion_s[0]), (LEFT,)
    )


def _hasty(logs: Logs, rng: np.random.Generator) -> Logs:
    """The loggers are started late: the stance lasts 0.3 to 1.5 s."""
    stance_s = rng.uniform(0.3, 1.5)
    return _between(logs, lambda c: c.motion_s[0] - stance_s, lambda _: np.inf, (LEFT, RIGHT))


def _none(files: dict[str, Path | None], _: np.random.Generator) -> dict[str, Path | None]:
    return {**files, LEFT: None}


def _edited(
    pattern: str, text: Callable[[np.random.Generator], str]
) -> Callable[..., dict[str, Path | None]]:
    """Replace a line of the left sensor's calibration file."""

    def change(files: dict[str, Path | None], rng: np.random.Generator) -> dict[str, Path | None]:
        path = files[LEFT]
        if path is not None:
            content = re.sub(pattern, text(rng), path.read_text(encoding="utf-8"), count=1)
            path.write_text(content, encoding="utf-8")
        return files

    return change


def _old(rng: np.random.Generator) -> str:
    return f"date = {np.datetime64('2026-10-03') - np.timedelta64(int(rng.integers(60, 500)), 'D')}"


NOMINAL = ({}, {"mounting": "nominal"})


def _with(first: dict[str, Any] | None, second: dict[str, Any] | None) -> dict[str, Any]:
    """Give overrides that need no random stream."""
    return {
        "first": None if first is None else lambda _: first,
        "second": None if second is None else lambda _: second,
    }


FAULTS: dict[str, Fault] = {
    "rate of 40 to 85 Hz": Fault(
        ("rate",),
        first=lambda rng: {"rate_hz": rng.uniform(40, 85)},
        second=lambda rng: {"rate_hz": rng.uniform(40, 85)},
    ),
    "stamps of arrival over the air": Fault(("jitter",), after=_left(_late_stamps)),
    "1 to 4 gaps of 0.06 to 0.25 s": Fault(("gaps",), after=_left(_holes)),
    "2 to 6 % single samples lost": Fault(("gaps",), after=_left(_dropouts)),
    "accelerometer set to 2 to 4 g": Fault(
        ("clipping", "range"),
        ("run",),
        first=lambda rng: {"left_acceleration_range_g": float(rng.choice([2.0, 4.0]))},
        second=lambda rng: {"acc_range_g": float(rng.choice([2.0, 4.0]))},
    ),
    "gyroscope set to 125 to 500 deg/s": Fault(
        ("clipping", "range"),
        ("run",),
        first=lambda rng: {"left_angular_velocity_range_deg_s": float(rng.choice([125.0, 250.0, 500.0]))},
        second=lambda rng: {"gyro_range_deg_s": float(rng.choice([125.0, 250.0, 500.0]))},
    ),
    "low pass of 10 to 28 Hz": Fault(
        ("bandwidth",), after=_left(_dull), first=_usual_rate, second=_usual_rate
    ),
    "ten times the noise": Fault(("noise",), after=_left(_noisy)),
    "a dead axis": Fault(("noise",), after=_left(_dead)),
    "acceleration in g, declared m/s^2": Fault(
        ("gravity",), after=_left(_times("acceleration_m_s2", 1 / 9.80665, 1 / 9.80665))
    ),
    "acceleration in m/s^2, declared g": Fault(
        ("gravity",), after=_left(_times("acceleration_m_s2", 9.80665, 9.80665))
    ),
    "sign of the acceleration": Fault(
        ("axes", "gravity"), after=_left(_times("acceleration_m_s2", -1, -1)), axes=True, **_with(*NOMINAL)
    ),
    "scale of the acceleration off by 8 to 20 %": Fault(
        ("gravity",), after=_left(_times("acceleration_m_s2", 1.08, 1.2))
    ),
    "angular velocity in deg/s, declared rad/s": Fault(
        ("gyro",), ("run",), after=_left(_times("angular_velocity_rad_s", 57.29578, 57.29578))
    ),
    "angular velocity in rad/s, declared deg/s": Fault(
        ("gyro",), ("run",), after=_left(_times("angular_velocity_rad_s", 1 / 57.29578, 1 / 57.29578))
    ),
    "sign of the angular velocity": Fault(
        ("gyro",), ("run",), after=_left(_times("angular_velocity_rad_s", -1, -1))
    ),
    "gyroscope bias of 7 to 25 deg/s": Fault(("gyro",), after=_left(_biased)),
    "another axis is up": Fault(("axes",), after=_left(_other_up), axes=True, **_with(*NOMINAL)),
    "forward declared 90 or 180 deg off": Fault(
        ("axes",), ("run",), after=_left(_other_forward), axes=True, **_with(*NOMINAL)
    ),
    "mounted 45 to 60 deg askew": Fault(("tilt", "axes"), after=_left(_tilted), axes=True, **_with(*NOMINAL)),
    "turned by 35 deg in the run": Fault(("turned",), ("run",), **_with({"left_slip_deg": 35.0}, None)),
    "left and right exchanged": Fault(("sides",), after=_swapped),
    "loose sensor": Fault(("loose",), loose=True),
    "one file copied for both": Fault(("file",), after=_copied),
    "no shared shock": Fault(("shocks",), ("run",), after=_no_shocks),
    "clock off by 500 to 5000 ppm": Fault(("clock", "shocks"), ("run",), after=_left(_drifting)),
    "no calibration": Fault(("calibration",), calibrations=_none),
    "calibration of another device": Fault(
        ("calibration",), calibrations=_edited(r'device = ".*"', lambda _: 'device = "S999"')
    ),
    "calibration of 60 to 500 days ago": Fault(("calibration",), calibrations=_edited(r"date = \S+", _old)),
    "calibration that cannot be inverted": Fault(
        ("calibration",),
        calibrations=_edited(
            r"matrix = \[\[.*\]\]", lambda _: "matrix = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [1.0, 1.0, 0.0]]"
        ),
    ),
    "log of one sensor dies in the run": Fault(("log_end",), ("run",), after=_died),
    "both logs end in the glide": Fault(
        ("log_end",), ("run",), **_with({"log_ends_early": True}, {"log_cut": "early_end"})
    ),
    "stance of 0.3 to 1.5 s": Fault(("protocol",), ("run",), after=_hasty),
}
