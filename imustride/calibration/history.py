"""How a device's calibrations changed from date to date, and whose numbers they are."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np

from imustride.calibration.file import Calibration, Correction, read_calibration
from imustride.calibration.triad import NORMAL, response
from imustride.errors import CalibrationError
from imustride.toml_text import parse_toml

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

Verdict = Literal["first", "no change", "drifts", "changed", "not comparable"]
WORDS = {
    "first": "the first of this device",
    "no change": "no change beyond the standard errors",
    "drifts": "changed more than the standard errors tell, within the limits: calibrate as usual",
    "changed": "changed beyond the limits: calibrate again; if it stays, mistrust the recordings between the two dates",
    "not comparable": "counts on one date and SI units on the other: not compared",
}
# Changes a sensor of this kind may show from month to month. Common practice, no source.
LIMITS = {
    "accelerometer_bias_m_s2": 0.05,
    "accelerometer_scale_percent": 0.5,
    "accelerometer_skew_deg": 0.5,
    "gyroscope_bias_deg_s": 0.5,
    "gyroscope_scale_percent": 0.5,
    "gyroscope_skew_deg": 0.5,
}
# The numbers of two devices are told apart by bias, scale and skew of the accelerometer: another's when its
# distance is this small, and the own one's so many times larger.
LIKE = 0.5
UNLIKE = 4.0


@dataclass(frozen=True, slots=True)
class Errors:
    """Standard errors of a file, by triad: bias, scale, skew; and the triads of which only the bias was measured."""

    of: dict[str, tuple[Floats, Floats, Floats]] = field(default_factory=dict)
    bias_only: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Step:
    """One calibration of a device, and the largest changes since the one before.

    Parameters
    ----------
    calibration : Calibration
    errors : Errors
    change : dict of str to float
        Largest change over the axes, by name with unit; empty for the first.
    verdict : str
    beyond : tuple of str
        The changes beyond their limit.
    """

    calibration: Calibration
    errors: Errors
    change: dict[str, float]
    verdict: Verdict
    beyond: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class History:
    """The calibrations of a device in order of date, and files that could not be read."""

    device: str
    steps: tuple[Step, ...]
    problems: tuple[str, ...] = ()


def read_history(folder: Path, device: str) -> History:
    """Read all calibrations of a device.

    Parameters
    ----------
    folder : Path
        Holds a folder for each device.
    device : str
    """
    found: list[tuple[Calibration, Errors]] = []
    problems = []
    for path in sorted((folder / device).glob("*.toml")):
        try:
            calibration = read_calibration(path)
        except CalibrationError as error:
            problems.append(str(error))
            continue
        if calibration.device == device:
            found.append((calibration, read_errors(path.read_text(encoding="utf-8-sig"))))
        else:
            problems.append(
                f"{calibration.source}: is of device {calibration.device!r}; move it to its folder"
            )
    found.sort(key=lambda entry: entry[0].date)
    steps: list[Step] = []
    for calibration, errors in found:
        steps.append(next_step(steps[-1] if steps else None, calibration, errors))
    return History(device, tuple(steps), tuple(problems))


def read_errors(text: str) -> Errors:
    """Read the standard errors of a calibration file; none where the file gives none."""
    tables = parse_toml(text)
    found: dict[str, tuple[Floats, Floats, Floats]] = {}
    for name, unit in (("accelerometer", "m_s2"), ("gyroscope", "rad_s")):
        table = tables.get(name, {})
        bias = table.get(f"bias_sd_{unit}", table.get("bias_sd_counts"))
        nothing = [0.0, 0.0, 0.0] if table.get("measured") is False else None
        keys = (bias, table.get("scale_sd", nothing), table.get("skew_sd_deg", nothing))
        if all(isinstance(value, list) and len(value) == 3 for value in keys):
            bias_sd, scale_sd, skew_sd = (np.array(value, dtype=np.float64) for value in keys)
            found[name] = (bias_sd, scale_sd, skew_sd)
    only = [name for name in ("accelerometer", "gyroscope") if tables.get(name, {}).get("measured") is False]
    return Errors(found, frozenset(only))


def next_step(before: Step | None, after: Calibration, errors: Errors) -> Step:
    """Compare a calibration with the one before it, None where it is the first."""
    if before is None:
        return Step(after, errors, {}, "first")
    change: dict[str, float] = {}
    certain, beyond = False, list[str]()
    for name in ("accelerometer", "gyroscope"):
        old, new = getattr(before.calibration, name), getattr(after, name)
        if old is None or new is None:
            continue
        if old.from_counts != new.from_counts:
            return Step(after, errors, {}, "not comparable")
        for key, values, sd in _changes(name, old, new, before.errors, errors):
            change[key] = float(np.abs(values).max())
            sure = np.abs(values) > NORMAL * sd
            certain |= bool(sure.any())
            if (sure & (np.abs(values) > LIMITS[key])).any():
                beyond.append(key)
    if not change:
        return Step(after, errors, {}, "not comparable")
    verdict: Verdict = "changed" if beyond else "drifts" if certain else "no change"
    return Step(after, errors, change, verdict, tuple(beyond))


def _changes(
    name: str, old: Correction, new: Correction, errors_before: Errors, errors_after: Errors
) -> list[tuple[str, Floats, Floats]]:
    """Changes of a triad and their standard errors, axis by axis."""
    scale_before, skew_before = response(old.matrix)
    scale_after, skew_after = response(new.matrix)
    zero = (np.zeros(3),) * 3
    one, two = errors_before.of.get(name, zero), errors_after.of.get(name, zero)
    bias_sd, scale_sd, skew_sd = (np.hypot(a, b) for a, b in zip(one, two, strict=True))
    bias = new.matrix @ (new.bias - old.bias)
    bias_sd = np.abs(new.matrix) @ bias_sd
    kind, factor = ("bias_m_s2", 1.0) if name == "accelerometer" else ("bias_deg_s", 180 / np.pi)
    of_bias = (f"{name}_{kind}", factor * bias, factor * bias_sd)
    if name in errors_before.bias_only | errors_after.bias_only:
        return [of_bias]
    return [
        of_bias,
        (
            f"{name}_scale_percent",
            100 * (scale_after / scale_before - 1),
            100 * scale_sd / scale_before,
        ),
        (f"{name}_skew_deg", skew_after - skew_before, skew_sd),
    ]


def distance(one: Calibration, other: Calibration) -> float:
    """Return how far two accelerometers differ, in limits of a month's change; infinite where not comparable."""
    step = next_step(Step(one, Errors(), {}, "first"), other, Errors())
    parts = [size / LIMITS[key] for key, size in step.change.items() if key.startswith("accelerometer")]
    return max(parts, default=np.inf)


def looks_like(calibration: Calibration, folder: Path) -> str | None:
    """Say which other device the numbers of a calibration are, where they are clearly not the own one's.

    Parameters
    ----------
    calibration : Calibration
        A new one.
    folder : Path
        With the devices' earlier calibrations.
    """
    own = read_history(folder, calibration.device).steps
    earlier = [step.calibration for step in own if step.calibration.date < calibration.date]
    if not earlier:
        return None
    mine = distance(earlier[-1], calibration)
    for other in sorted(path.name for path in folder.iterdir() if path.is_dir()):
        steps = read_history(folder, other).steps if other != calibration.device else ()
        if steps:
            theirs = distance(steps[-1].calibration, calibration)
            if theirs < LIKE and mine > max(1.0, UNLIKE * theirs):
                return other
    return None
